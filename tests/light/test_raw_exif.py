"""Where makers keep the Exif tags of raw files that are no plain TIFF files.

Layouts as public descriptions of these formats have them: RAF with the offset of a JPEG at byte 84, ORF and
RW2 as TIFF with other first bytes, CR3 with one TIFF block a box.
"""

from __future__ import annotations

import io
import struct
from pathlib import Path

import pytest
from PIL import Image

from chart import chart, exif_block
from glowkin.light.metadata import read_metadata
from glowkin.light.raw_tags import raw_exif

BLOCK = exif_block().removeprefix(b"Exif\x00\x00")


def raf():
    out = io.BytesIO()
    Image.fromarray(chart(8)).save(out, "JPEG", exif=exif_block())
    jpeg = out.getvalue()
    return (
        b"FUJIFILMCCD-RAW ".ljust(84, b"0")
        + struct.pack(">II", 148, len(jpeg))
        + bytes(56)
        + jpeg
        + bytes(99)
    )


def box(kind, content):
    return struct.pack(">I4s", 8 + len(content), kind) + content


def shot_block():
    """The tags of the shot as the first directory of a TIFF block of their own."""
    exif, own = Image.Exif(), Image.Exif()
    exif.load(exif_block())
    for tag, value in exif.get_ifd(0x8769).items():
        own[tag] = value
    return own.tobytes().removeprefix(b"Exif\x00\x00")


def cr3():
    boxes = box(b"CMT1", BLOCK) + box(b"CMT2", shot_block())
    return box(b"ftyp", b"crx \x00\x00\x00\x01crx isom") + box(b"moov", box(b"uuid", bytes(16) + boxes))


def unusual(start):
    assert BLOCK[:4] in (b"II*\x00", b"MM\x00*")
    return start + BLOCK[4:]


LITTLE = BLOCK[:2] == b"II"
FILES = {
    "DNG and most": BLOCK,
    "ORF": unusual(b"IIRO" if LITTLE else b"MMOR"),
    "RAF": raf(),
    "CR3": cr3(),
    **({"RW2": unusual(b"IIU\x00")} if LITTLE else {}),
}


@pytest.mark.parametrize("maker", FILES)
def test_the_shot_is_told_by_every_makers_file(maker):
    told = read_metadata(raw_exif(FILES[maker]), Path("a"))
    assert told.taken_at == "2026-05-04T13:30:00+02:00"
    assert (told.exposure_s, told.iso, told.f_number) == (0.5, 200, 4.0)
    assert (told.make, told.model, told.automatic_white_balance) == ("Made Up", "One", False)


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
@pytest.mark.parametrize("maker", FILES)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6])
def test_a_file_cut_short_tells_less_and_raises_nothing(maker, share):
    data = FILES[maker]
    read_metadata(raw_exif(data[: max(int(share * len(data)), 13)]), Path("a"))
