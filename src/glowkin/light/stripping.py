"""A photograph's file without position, serial numbers, owner and folders; the rest of it stays: pixels,
figures of the shot, author and copyright.

Nothing is decoded and coded anew: parts of the file are left out or overwritten. What is kept is listed.
Formats of which it is not known where everything stands are refused.
"""

from __future__ import annotations

import hashlib
import re
import struct
import zlib
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.base.files import told_of
from glowkin.light import boxes, png, tiff
from glowkin.light.decode import open_photo
from glowkin.light.strip_tiff import Block, StrangeError
from glowkin.light.strip_xmp import is_marks, marks_packet

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from glowkin.light.photo import Photograph

_MEND = "include it as it is with --with-metadata, or leave it out"
_EXIF, _XMP = b"Exif\x00\x00", b"http://ns.adobe.com/xap/1.0/\x00"
_KEPT_SEGMENTS = {0xE0: b"JFIF\x00", 0xE2: b"ICC_PROFILE\x00", 0xEE: b"Adobe"}
_KEPT_CHUNKS = frozenset({
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP",
    b"bKGD", b"hIST", b"pHYs", b"tIME", b"mDCV", b"cLLI",
})  # fmt: skip
_INNER_EXIF = re.compile(rb"Exif\x00\x00(?=II\*\x00|MM\x00\*)")
_INNER_XMP = re.compile(rb"<x:xmpmeta.*?</x:xmpmeta>", re.DOTALL)
_LEAST_SECRET = 5
"""Shorter texts turn up by chance."""


@dataclass
class Stripped:
    """The file's new content, and what was taken out and must not be found in it."""

    content: bytes
    secrets: list[bytes]


def stripped(path: Path) -> bytes:
    """The content of a photograph's file without position, serial numbers, owner and folders.

    Read again and compared: the same codes, and all else that a measurement takes from a file.
    CannotReadError where the format, or what was found in the file, makes that impossible.
    """
    before, data = open_photo(path), path.read_bytes()
    try:
        done = _by_format(path, data)
    except (StrangeError, ValueError, IndexError, KeyError, struct.error) as error:
        raise CannotReadError(
            f"{path}: position and serial numbers cannot be taken out of it safely ({error}); {_MEND}"
        ) from error
    left = [s for s in done.secrets if len(s) >= _LEAST_SECRET and s.strip(b"\x00 0") and s in done.content]
    if left:
        raise CannotReadError(f"{path}: holds a serial number or position in an unknown place too; {_MEND}")
    if done.content != data and not same(before, open_again(path, done.content)):
        raise CannotReadError(
            f"{path}: would not measure the same without its maker's own data, which may hold serials; "
            f"convert it to DNG and add that, or {_MEND}"
        )
    return done.content


def stripped_into(path: Path, drawer: Path) -> Path:
    """A photograph's file without what tells who and where: itself, or a new one in the drawer, named by the
    hash before.
    """
    content, before = stripped(path), path.read_bytes()
    if content == before:
        return path
    target = drawer / hashlib.sha256(before).hexdigest()
    with told_of(path):
        target.write_bytes(content)
    return target


def open_again(path: Path, content: bytes) -> Photograph | None:
    """The photograph of another content under the same name; None where it cannot be read."""
    import tempfile
    from pathlib import Path as FilePath

    with tempfile.TemporaryDirectory(prefix="glowkin-") as drawer:
        file = FilePath(drawer) / path.name
        file.write_bytes(content)
        try:
            return open_photo(file)
        except CannotReadError:
            return None


def same(a: Photograph, b: Photograph | None) -> bool:
    """Whether two photographs would measure the same: all but place and hash."""
    if b is None:
        return False
    names = [f.name for f in fields(a) if f.name not in ("path", "sha256")]
    return all(_equal(getattr(a, name), getattr(b, name)) for name in names)


def _equal(a: Any, b: Any) -> bool:
    if isinstance(a, np.ndarray):
        return isinstance(b, np.ndarray) and a.dtype == b.dtype and np.array_equal(a, b, equal_nan=True)
    if isinstance(a, tuple) and isinstance(b, tuple):
        return len(a) == len(b) and all(_equal(x, y) for x, y in zip(a, b, strict=True))
    return bool(a == b)


def _by_format(path: Path, data: bytes) -> Stripped:
    if data[:3] == b"\xff\xd8\xff":
        return _jpeg(data)
    if data.startswith(png.SIGNATURE):
        return _png(data)
    if data.startswith(tiff.SIGNATURES):
        return _block(data, alone=False)
    if boxes.brand(data) in boxes.STILL_BRANDS:
        return _still(data)
    raise CannotReadError(
        f"{path}: position and serial numbers cannot be taken out of this maker's raw format; convert it to "
        f"DNG and add that, or {_MEND}"
    )


def _block(data: bytes, *, alone: bool) -> Stripped:
    block = Block(bytearray(data), alone=alone)
    block.strip()
    for found in _INNER_EXIF.finditer(bytes(block.data)):  # of a preview within, cut down where it lies
        inner = Block(block.data, found.end())
        inner.strip()
        block.secrets += inner.secrets
    for found in _INNER_XMP.finditer(bytes(block.data)):
        if not is_marks(found.group()):
            block.data[found.start() : found.end()] = b" " * len(found.group())
    return Stripped(bytes(block.data), block.secrets)


def _as_long(content: bytes, length: int, filled: bytes) -> bytes:
    """A content in the place of another one that is longer."""
    if len(content) > length:
        raise StrangeError("no room for what its XMP says of merging and editing")
    return content.ljust(length, filled)


def _jpeg(data: bytes) -> Stripped:
    """Segments that are listed, Exif and XMP cut down, nothing behind the picture."""
    out, secrets = [data[:2]], []
    for kind, start, end in _segments(data):
        body = data[start + 4 : end]
        if kind == 0xE1 and body.startswith(_EXIF):
            done = _block(body[len(_EXIF) :], alone=True)
            secrets += done.secrets
            out.append(_segment(0xE1, _EXIF + done.content))
        elif kind == 0xE1 and body.startswith(_XMP):
            packet = marks_packet(body)
            out += [_segment(0xE1, _XMP + packet)] if packet else []
        elif kind in range(0xE0, 0xF0) or kind == 0xFE:
            kept = kind in _KEPT_SEGMENTS and body.startswith(_KEPT_SEGMENTS[kind])
            out += [_segment(kind, _without_thumbnail(body) if kind == 0xE0 else body)] if kept else []
        else:
            out.append(data[start:end])
    return Stripped(b"".join(out), secrets)


def _without_thumbnail(jfif: bytes) -> bytes:
    """A JFIF segment without its thumbnail, which may show what was cut off since (ITU-T T.871)."""
    return jfif[:12] + b"\x00\x00"


def _segment(kind: int, body: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, kind, len(body) + 2) + body


def _segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Kind, start and end of each segment up to the end of the picture; coded pixels go with their scan."""
    at, kind = 2, 0
    while kind != 0xD9:
        if data[at] != 0xFF:
            raise StrangeError("no marker where one is due")
        kind = data[at + 1]
        if kind == 0xFF:
            at += 1
            continue
        length = 0 if kind == 0xD9 else struct.unpack_from(">H", data, at + 2)[0]
        end = at + 2 + length
        if kind == 0xDA:
            end = _scan_end(data, end)
        if end > len(data):
            raise StrangeError("a segment beyond the end")
        yield kind, at, end
        at = end


def _scan_end(data: bytes, at: int) -> int:
    """The next marker behind coded pixels: FF, then neither 00 nor a restart."""
    while True:
        at = data.index(b"\xff", at)
        if data[at + 1] not in (0x00, *range(0xD0, 0xD8)):
            return at
        at += 2


def _png(data: bytes) -> Stripped:
    """Chunks that are listed, Exif and XMP cut down."""
    out, secrets, at, kind = [png.SIGNATURE], [], len(png.SIGNATURE), b""
    while kind != b"IEND":
        size, kind = struct.unpack_from(">I4s", data, at)
        body = data[at + 8 : at + 8 + size]
        if kind == b"eXIf":
            done = _block(body, alone=True)
            secrets += done.secrets
            out.append(_chunk(kind, done.content))
        elif kind == b"iTXt" and body.startswith(b"XML:com.adobe.xmp\x00"):
            packet = marks_packet(body)
            out += [_chunk(kind, b"XML:com.adobe.xmp\x00\x00\x00\x00\x00" + packet)] if packet else []
        elif kind in _KEPT_CHUNKS:
            out.append(data[at : at + 12 + size])
        at += 12 + size
    return Stripped(b"".join(out), secrets)


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def _still(data: bytes) -> Stripped:
    """Items that are no pictures, overwritten where they lie."""
    out, secrets = bytearray(data), []
    for kind, pieces in boxes.metadata_pieces(data):
        whole = b"".join(data[a:b] for a, b in pieces)
        new = b""
        if kind == b"Exif" and len(whole) > 8:
            head = 4 + struct.unpack_from(">I", whole)[0]
            done = _block(whole[head:], alone=True)
            secrets += done.secrets
            new = whole[:head] + done.content
        elif kind == b"mime":
            new = marks_packet(whole)
        new = _as_long(new, len(whole), b" " if kind == b"mime" else b"\x00")
        for a, b in pieces:
            out[a:b], new = new[: b - a], new[b - a :]
    return Stripped(bytes(out), secrets)
