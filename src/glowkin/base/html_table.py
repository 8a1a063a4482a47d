"""Records as a small table for a notebook."""

from __future__ import annotations

from typing import Any


def table_html(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> str:
    """Rows as a small HTML table, every text escaped, numbers to four significant figures."""
    head = "".join(f"<th>{c}</th>" for c in columns)
    body = "".join("<tr>" + "".join(f"<td>{_cell(r.get(c))}</td>" for c in columns) + "</tr>" for r in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _cell(value: Any) -> str:
    from html import escape

    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, list | tuple):
        return ", ".join(_cell(v) for v in value)
    return "" if value is None else escape(str(value))
