"""A document of many photographs, written piece by piece."""

from __future__ import annotations

import json
from dataclasses import is_dataclass
from typing import TYPE_CHECKING, Any

from glowkin.base.records import to_json
from glowkin.base.shelf import shallow

if TYPE_CHECKING:
    from collections.abc import Iterator

_PART = 1 << 16


def json_parts(document: dict[str, Any]) -> Iterator[bytes]:
    """A document's text in parts; records become plain as they are written."""
    encoder = json.JSONEncoder(indent=1, ensure_ascii=False, allow_nan=False, default=_plain)
    text, size = [], 0
    for part in encoder.iterencode(document):
        text.append(part)
        size += len(part)
        if size > _PART:
            yield "".join(text).encode()
            text, size = [], 0
    yield f"{''.join(text)}\n".encode()


def _plain(value: Any) -> Any:
    return shallow(value) if is_dataclass(value) else str(value)


class Each(list[Any]):
    """Photographs of a list or shelf, the only item, as rows of a document, each made when it is written."""

    def __iter__(self) -> Iterator[Any]:
        """The rows."""
        return (to_json(photo) for photo in self[0])
