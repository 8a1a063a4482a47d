"""The header of HEIC and AVIF files: boxes that hold items and their properties (ISO 14496-12, 23008-12).

Read before any decoder sees the file, so that what is too large, animated or without colour is refused
early, and turned once: by the properties ``irot`` and ``imir``, which in these files stand above the
orientation of the Exif block.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

STILL_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"avif", b"mif2")
SEQUENCE_BRANDS = (b"hevc", b"hevx", b"msf1", b"avis")
_NO_PICTURES = (b"Exif", b"mime", b"uri ")
_PICTURE_BOXES = (b"ftyp", b"meta", b"mdat")


@dataclass(frozen=True)
class StillHeader:
    """What the file tells of its primary picture; ``orientation`` is what ``irot`` and ``imir`` ask for.

    ``nclx`` are the code points of primaries and transfer (ITU-T H.273).
    """

    size: tuple[int, int]
    bits: int
    grey: bool
    alpha: bool
    orientation: int = 1
    icc: bytes | None = None
    nclx: tuple[int, int] | None = None
    exif: bytes = b""
    xmp: bytes = b""
    gain_map: bool = False
    coding: bytes = b"hvc1"


@dataclass(frozen=True)
class _Meta:
    data: bytes
    boxes: dict[bytes, tuple[int, int]]
    kinds: dict[int, bytes]
    properties: list[tuple[bytes, bytes]]
    of_item: dict[int, list[int]]
    end: int


def brand(data: bytes) -> bytes:
    """The major brand of a file of boxes, else nothing."""
    return data[8:12] if data[4:8] == b"ftyp" else b""


def read_still(data: bytes) -> StillHeader:
    """The header of a still picture; ValueError, IndexError, KeyError or struct.error for a broken one."""
    top = {kind: (start, end) for kind, start, end in _boxes(data, 0, len(data))}
    meta = _meta(data, *top[b"meta"])
    start, _ = meta.boxes[b"pitm"]
    (primary,) = struct.unpack_from(">H" if data[start] == 0 else ">I", data, start + 4)
    own = [meta.properties[i] for i in meta.of_item[primary]]
    width, height = struct.unpack_from(">II", next(p for kind, p in own if kind == b"ispe"), 4)
    bits, grey = _depth([*own, *meta.properties])
    aux = b"".join(p for kind, p in meta.properties if kind == b"auxC")
    icc, nclx = _colour([*own, *meta.properties])
    return StillHeader(
        size=(width, height),
        bits=bits,
        grey=grey,
        alpha=b"auxiliary:alpha" in aux or b"auxid:1" in aux,
        orientation=_orientation(own),
        icc=icc,
        nclx=nclx,
        exif=_exif(meta),
        xmp=_item(meta, b"mime"),
        gain_map=b"hdrgainmap" in aux or b"tmap" in meta.kinds.values(),
        coding=b"av01" if b"av01" in meta.kinds.values() else b"hvc1",
    )


def metadata_pieces(data: bytes) -> Iterator[tuple[bytes, list[tuple[int, int]]]]:
    """Kind, and start and end of each piece, of all items that are no pictures; then of foreign top boxes.

    The first item of a kind is the one that ``read_still`` reads. ``data`` is what ``read_still`` has read.
    """
    found = list(_boxes(data, 0, len(data)))
    meta = _meta(data, *next((a, b) for kind, a, b in found if kind == b"meta"))
    if b"iloc" in meta.boxes:
        places = {i: (inside, pieces) for i, inside, pieces in _locations(data, meta.boxes[b"iloc"][0])}
        for item, kind in meta.kinds.items():
            if kind in _NO_PICTURES and item in places:
                inside, pieces = places[item]
                base = meta.boxes[b"idat"][0] if inside else 0
                yield kind, [(base + at, base + at + length) for at, length in pieces]
    own = _boxes(data, next(a for kind, a, _ in found if kind == b"meta") + 4, meta.end)
    yield from ((kind, [(a, b)]) for kind, a, b in own if kind == b"uuid")
    yield from ((kind, [(a, b)]) for kind, a, b in found if kind not in _PICTURE_BOXES)


def _boxes(data: bytes, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Kind, start and end of the content of each box from start to end."""
    while start + 8 <= end:
        size, kind = struct.unpack_from(">I4s", data, start)
        head = 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", data, start + 8)
            head = 16
        stop = end if size == 0 else start + size
        if (size and size < head) or stop > end:
            raise ValueError("a box reaches beyond what holds it")
        yield kind, start + head, stop
        start = stop


def _meta(data: bytes, start: int, end: int) -> _Meta:
    boxes = {kind: (a, b) for kind, a, b in _boxes(data, start + 4, end)}
    inside = {kind: (a, b) for kind, a, b in _boxes(data, *boxes[b"iprp"])}
    properties = [(kind, data[a:b]) for kind, a, b in _boxes(data, *inside[b"ipco"])]
    return _Meta(
        data, boxes, _kinds(data, *boxes[b"iinf"]), properties, _associations(data, inside[b"ipma"][0]), end
    )


def _kinds(data: bytes, start: int, end: int) -> dict[int, bytes]:
    """The kind of each item, from its entry of version 2 or 3."""
    kinds = {}
    for kind, a, _ in _boxes(data, start + (6 if data[start] == 0 else 8), end):
        if kind == b"infe" and data[a] >= 2:
            wide = data[a] == 3
            (number,) = struct.unpack_from(">I" if wide else ">H", data, a + 4)
            at = a + (10 if wide else 8)
            kinds[number] = data[at : at + 4]
    return kinds


def _associations(data: bytes, at: int) -> dict[int, list[int]]:
    """For each item the places of its properties in their list, counted from 0."""
    wide_item, wide_index = data[at] >= 1, data[at + 3] & 1
    (count,) = struct.unpack_from(">I", data, at + 4)
    at += 8
    found: dict[int, list[int]] = {}
    for _ in range(count):
        (item,) = struct.unpack_from(">I" if wide_item else ">H", data, at)
        at += 4 if wide_item else 2
        number, at = data[at], at + 1
        form, step = (f">{number}H", 2) if wide_index else (f">{number}B", 1)
        indices = struct.unpack_from(form, data, at)
        at += number * step
        found[item] = [(i & (0x7FFF if wide_index else 0x7F)) - 1 for i in indices]
    return found


def _depth(properties: list[tuple[bytes, bytes]]) -> tuple[int, bool]:
    """Bits a channel, and whether there is one channel only: told outright or by the decoder's settings."""
    for kind, p in properties:
        if kind == b"pixi":
            return max(p[5 : 5 + p[4]]), p[4] == 1
    for kind, p in properties:
        if kind == b"av1C":
            return (12 if p[2] & 0x20 else 10) if p[2] & 0x40 else 8, bool(p[2] & 0x10)
        if kind == b"hvcC":
            return (p[17] & 7) + 8, p[16] & 3 == 0
    raise ValueError("no depth is told")


def _colour(properties: list[tuple[bytes, bytes]]) -> tuple[bytes | None, tuple[int, int] | None]:
    colours = [p for kind, p in properties if kind == b"colr"]
    icc = next((p[4:] for p in colours if p[:4] in (b"prof", b"rICC")), None)
    nclx = next((struct.unpack_from(">HH", p, 4) for p in colours if p[:4] == b"nclx"), None)
    return icc, nclx


def _orientation(properties: list[tuple[bytes, bytes]]) -> int:
    """``irot`` (quarter turns against the clock), then ``imir`` (0 top to bottom, 1 left to right)."""
    turns = next((p[0] & 3 for kind, p in properties if kind == b"irot"), 0)
    mirror = next((p[0] & 1 for kind, p in properties if kind == b"imir"), None)
    upright = {0: (1, 4, 2), 1: (8, 5, 7), 2: (3, 2, 4), 3: (6, 7, 5)}[turns]
    return upright[0 if mirror is None else mirror + 1]


def _exif(meta: _Meta) -> bytes:
    """The Exif block as TIFF, behind the offset that stands before it."""
    block = _item(meta, b"Exif")
    if len(block) < 8:
        return b""
    (skip,) = struct.unpack_from(">I", block)
    return block[4 + skip :]


def _item(meta: _Meta, kind: bytes) -> bytes:
    """The bytes of the first item of a kind, or none."""
    wanted = next((i for i, k in meta.kinds.items() if k == kind), None)
    if wanted is None or b"iloc" not in meta.boxes:
        return b""
    for item, inside, pieces in _locations(meta.data, meta.boxes[b"iloc"][0]):
        if item == wanted:
            base = meta.boxes[b"idat"][0] if inside else 0
            return b"".join(meta.data[base + at : base + at + length] for at, length in pieces)
    return b""


def _locations(data: bytes, at: int) -> Iterator[tuple[int, bool, list[tuple[int, int]]]]:
    """Item, whether its bytes lie in ``idat``, and offset and length of each piece."""
    version = data[at]
    sizes = data[at + 4] >> 4, data[at + 4] & 15, data[at + 5] >> 4, data[at + 5] & 15 if version else 0
    wide = version == 2
    count, at = _number(data, at + 6, 4 if wide else 2)
    for _ in range(count):
        item, at = _number(data, at, 4 if wide else 2)
        method, at = _number(data, at, 2 if version else 0)
        _, at = _number(data, at, 2)
        base, at = _number(data, at, sizes[2])
        extents, at = _number(data, at, 2)
        pieces = []
        for _ in range(extents):
            _, at = _number(data, at, sizes[3])
            offset, at = _number(data, at, sizes[0])
            length, at = _number(data, at, sizes[1])
            pieces.append((base + offset, length))
        yield item, method & 15 == 1, pieces


def _number(data: bytes, at: int, size: int) -> tuple[int, int]:
    if at + size > len(data):
        raise ValueError("a number reaches beyond the file")
    return int.from_bytes(data[at : at + size], "big"), at + size
