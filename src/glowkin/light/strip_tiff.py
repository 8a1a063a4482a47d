"""Directories of tags (TIFF 6.0, Exif 3.0, DNG 1.7), in a file or in an Exif block: entries that may tell
where, with which body and whose are taken out in place; author, copyright and every other byte stay.

What is kept is listed, not what is taken out: a tag that nobody here knows may hold anything.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.places import without_folders
from glowkin.light.strip_xmp import marks_packet

if TYPE_CHECKING:
    from collections.abc import Iterator

SERIAL_TAGS = (0xA430, 0xA431, 0xA435, 0xC62F, 0xA420)
"""Owner, body, lens, DNG's camera serial number, image's own number."""
_GPS, _EXIF, _INTEROP, _SUB, _XMP = 0x8825, 0x8769, 0xA005, 0x014A, 0x02BC
_TEXT = 2
_SIZES = {
    1: 1,
    2: 1,
    3: 2,
    4: 4,
    5: 8,
    6: 1,
    7: 1,
    8: 2,
    9: 4,
    10: 8,
    11: 4,
    12: 8,
    13: 4,
    16: 8,
    17: 8,
    18: 8,
}
_PICTURE = (
    range(0x000B, 0x000C), range(0x00FE, 0x013C), range(0x013D, 0x0160), range(0x0200, 0x0215),
    range(0x828D, 0x828F), (0x8298, 0x829A, 0x829D, _EXIF, 0x8773, _SUB, _INTEROP),
    range(0x8822, 0x8833), range(0x9000, 0x927C), range(0x9290, 0x9293), range(0x9400, 0x9406),
    range(0xA000, 0xA005), range(0xA20B, 0xA218), range(0xA300, 0xA303), range(0xA401, 0xA40D),
    range(0xA432, 0xA435), range(0xA460, 0xA463), (0xA500,), range(0x0001, 0x0003),
)  # fmt: skip
"""TIFF's own tags, author and copyright too, but for the computer's name; the shot by Exif, and
Interoperability."""
_DNG = (range(0xC612, 0xC7B6), range(0xCD2B, 0xCD4C))
_NEVER = (_GPS, 0xC62F, 0xC634, 0xC65D, 0xC68B, 0xC68C, 0xC7A1)
"""Position; of DNG: serial number, the maker's own, the shot's number, name and content of a first raw file,
label."""
_KEPT = frozenset(t for tags in (*_PICTURE, *_DNG) for t in tags) - frozenset(_NEVER)
_MOST_DIRECTORIES, _MOST_ENTRIES = 200, 4096


class StrangeError(Exception):
    """Bytes that are no directories as the standards have them."""


@dataclass
class Block:
    """Directories in ``data`` from ``base`` on; ``secrets`` are the texts and places that were taken out.

    ``data`` is changed in place by ``strip``. ``alone``: there is nothing else in it, as in an Exif block, so
    that all goes that no entry refers to, and the thumbnail too.
    """

    data: bytearray
    base: int = 0
    alone: bool = False
    secrets: list[bytes] = field(default_factory=list)
    _gone: list[tuple[int, int]] = field(default_factory=list)
    _held: list[tuple[int, int]] = field(default_factory=list)
    _seen: set[int] = field(default_factory=set)
    _order: str = "<"
    _big: bool = False

    def strip(self) -> None:
        """Take out all that is not listed; ``StrangeError`` where the bytes are not as they should be."""
        head = bytes(self.data[self.base : self.base + 4])
        self._order = {b"II": "<", b"MM": ">"}.get(head[:2], "")
        magic = struct.unpack_from(f"{self._order or '<'}H", head.ljust(4), 2)[0]
        self._big = magic == 43
        if not self._order or magic not in (42, 43):
            raise StrangeError("no directory")
        at = self._number(self.base + (8 if self._big else 4), self._wide)
        self._directories(at)
        self._blank()

    @property
    def _wide(self) -> int:
        return 8 if self._big else 4

    def _directories(self, at: int) -> None:
        """A directory and those chained to it."""
        first = True
        while at:
            begin, count, size = self._opened(at)
            if not first and self.alone:
                self._all_gone(begin, count, size)
            else:
                self._one(begin, count, size)
            kept = self._count(at)
            place = begin + kept * size
            at = self._number(place, self._wide)
            if at and self.alone and first:
                struct.pack_into(self._form(self._wide), self.data, place, 0)
            first = False

    def _opened(self, at: int) -> tuple[int, int, int]:
        """Where a directory's entries begin, how many there are, and how long each is."""
        if at in self._seen or len(self._seen) > _MOST_DIRECTORIES:
            raise StrangeError("directories go round in a circle")
        self._seen.add(at)
        count = self._count(at)
        if count > _MOST_ENTRIES:
            raise StrangeError("a directory of too many entries")
        begin, size = self.base + at + (8 if self._big else 2), 20 if self._big else 12
        if begin + count * size + self._wide > len(self.data):
            raise StrangeError("a directory beyond the end")
        return begin, count, size

    def _count(self, at: int) -> int:
        return self._number(self.base + at, 8 if self._big else 2)

    def _one(self, begin: int, count: int, size: int) -> None:
        """One directory: entries that stay move up over those that go."""
        kept = [entry for entry in self._entries(begin, count, size) if self._stays(*entry)]
        rows = [bytes(self.data[at : at + size]) for at, *_ in kept]
        below = [
            at
            for _, tag, kind, number, where in kept
            if tag in (_EXIF, _INTEROP, _SUB)
            for at in self._pointers(kind, number, where)
        ]
        chain = begin + count * size
        following = bytes(self.data[chain : chain + self._wide])
        body = b"".join(rows) + following
        self.data[begin : chain + self._wide] = body.ljust(chain + self._wide - begin, b"\x00")
        head = 8 if self._big else 2
        struct.pack_into(self._form(head), self.data, begin - head, len(kept))
        self._held.append((begin - head, begin + len(body)))
        for _, _, kind, number, where in kept:
            if not begin <= where < chain:
                self._held.append((where, where + number * _SIZES[kind]))
        for at in below:
            self._directories(at)

    def _entries(self, begin: int, count: int, size: int) -> Iterator[tuple[int, int, int, int, int]]:
        """Place, tag, kind, number of values, and where these lie, of each entry."""
        for i in range(count):
            at = begin + i * size
            tag, kind = self._number(at, 2), self._number(at + 2, 2)
            number = self._number(at + 4, self._wide)
            long = number * _SIZES.get(kind, 1)
            inline = at + 4 + self._wide
            where = inline if long <= self._wide else self.base + self._number(inline, self._wide)
            if where + long > len(self.data) and tag in _KEPT:
                raise StrangeError("a value beyond the end")
            yield at, tag, kind, number, where

    def _stays(self, _at: int, tag: int, kind: int, number: int, where: int) -> bool:
        """Whether an entry is kept, its text without folders; what goes is noted."""
        end = min(where + number * _SIZES.get(kind, 1), len(self.data))
        if tag in _KEPT and kind in _SIZES:
            if kind == _TEXT:
                self._without_folders(where, end)
            return True
        value = bytes(self.data[where:end])
        if tag == _XMP and (packet := marks_packet(value)):
            if len(packet) > len(value):
                raise StrangeError("no room for what its XMP says of merging and editing")
            self.data[where:end] = packet.ljust(len(value), b" ")
            return True
        self._gone.append((where, end))
        if tag in SERIAL_TAGS:
            self.secrets.append(value.strip(b"\x00 "))
        if tag == _GPS:
            for at in self._pointers(kind, number, where):
                self._all_gone(*self._opened(at))
        return False

    def _all_gone(self, begin: int, count: int, size: int) -> None:
        """A directory with all its values; long ones of it must be found nowhere afterwards."""
        for _, _, kind, number, where in self._entries(begin, count, size):
            end = min(where + number * _SIZES.get(kind, 1), len(self.data))
            self._gone.append((where, end))
            if number >= 3 and kind in (5, 10):
                self.secrets.append(bytes(self.data[where:end]))
        head = 8 if self._big else 2
        self._gone.append((begin - head, begin + count * size + self._wide))

    def _without_folders(self, where: int, end: int) -> None:
        text = bytes(self.data[where:end])
        told = text.decode("utf-8", "surrogateescape")
        short = without_folders(told).encode("utf-8", "surrogateescape")
        if short != text:
            self.data[where:end] = short.ljust(len(text), b"\x00")

    def _pointers(self, kind: int, number: int, where: int) -> list[int]:
        size = _SIZES.get(kind, 0)
        if size not in (4, 8) or where + number * size > len(self.data):
            raise StrangeError("a pointer of no known kind")
        return [self._number(where + i * size, size) for i in range(number)]

    def _blank(self) -> None:
        """Zeros where values were taken out, unless a value that is kept lies there as well."""
        blank = np.full(len(self.data), self.alone)
        blank[: self.base + (16 if self._big else 8)] = False
        for start, end in self._gone:
            blank[start:end] = True
        for start, end in self._held:
            blank[start:end] = False
        np.frombuffer(self.data, dtype=np.uint8)[blank] = 0

    def _number(self, at: int, size: int) -> int:
        if at < 0 or at + size > len(self.data):
            raise StrangeError("a number beyond the end")
        return int(struct.unpack_from(self._form(size), self.data, at)[0])

    def _form(self, size: int) -> str:
        return self._order + {2: "H", 4: "I", 8: "Q"}[size]
