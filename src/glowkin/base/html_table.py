"""Records as a small table for a notebook."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable

T = TypeVar("T")


class Rows(tuple[T, ...]):
    """Records of one kind, which show as a table in a notebook: of all their fields, or of ``columns``."""

    columns: tuple[str, ...]

    def __new__(cls, records: Iterable[T] = (), columns: tuple[str, ...] = ()) -> Rows[T]:
        """The records in their order."""
        rows = super().__new__(cls, tuple(records))
        rows.columns = columns
        return rows

    def _repr_html_(self) -> str:
        columns = self.columns or tuple(f.name for f in fields(self[0])) if self else self.columns  # type: ignore[arg-type]
        return table_html([{c: getattr(r, c) for c in columns} for r in self], columns)


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
