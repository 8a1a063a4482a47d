"""Position, serial numbers and folders taken out of photographs; Pillow and tifffile read what is left."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image
from PIL.PngImagePlugin import PngInfo

from glowkin.base.errors import CannotReadError
from glowkin.light import stripping
from glowkin.light.decode import open_photo
from glowkin.light.strip_tiff import Block, StrangeError
from glowkin.light.stripping import same, stripped
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.stage import two_reds_and_green

GPS, SHOT = 0x8825, 0x8769
SECRETS = ("SN-4471-0815", "LENS-99281", "Nordmann", "olgas-laptop", "/home/olga", "seen at home", "59,54.6N")
PIXELS = np.random.default_rng(0).integers(0, 255, (64, 96, 3), dtype=np.uint8)
XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:Description exif:GPSLatitude="59,54.6N" '
    b'aux:SerialNumber="SN-4471-0815" xmpMM:DerivedFrom="/home/olga/a.dng"/></x:xmpmeta>' + b" " * 300
)


def exif():
    """What a camera and a computer leave in a file (invented)."""
    out = Image.Exif()
    out[0x010E], out[0x010F], out[0x0110] = "copy of /home/olga/series/a.dng", "Maker", "Model"
    out[0x0112], out[0x0131], out[0x013C] = 6, "Firmware 1.0", "olgas-laptop"
    shot = out.get_ifd(SHOT)
    shot[0x9003], shot[0x9011], shot[0x829A], shot[0x829D] = "2026:05:04 12:00:00", "+02:00", 0.5, 4.0
    shot[0x8827], shot[0xA403], shot[0xA001], shot[0xA434] = 100, 1, 1, "Lens 50 mm"
    shot[0xA430], shot[0xA431], shot[0xA435] = "Nordmann", "SN-4471-0815", "LENS-99281"
    shot[0x927C], shot[0x9286] = b"Maker\x00SN-4471-0815" * 30, b"ASCII\x00\x00\x00seen at home"
    place = out.get_ifd(GPS)
    place[1], place[2], place[3], place[4] = "N", (59.0, 54.0, 36.0), "E", (10.0, 45.0, 0.0)
    return out


def jpeg(path):
    Image.fromarray(PIXELS).save(
        path, exif=exif(), xmp=XMP, comment=b"seen at home", quality=95, progressive=True
    )
    data = path.read_bytes()
    press = b"Photoshop 3.0\x008BIM\x04\x04 seen at home"
    segment = struct.pack(">BBH", 0xFF, 0xED, len(press) + 2) + press
    path.write_bytes(data[:2] + segment + data[2:] + data)  # and a second picture behind the first


def png(path):
    text = PngInfo()
    text.add_text("Comment", "seen at home")
    text.add_itxt("XML:com.adobe.xmp", XMP.decode())
    Image.fromarray(PIXELS).save(path, exif=exif(), pnginfo=text)


def avif(path):
    Image.fromarray(PIXELS).save(path, exif=exif(), xmp=XMP, quality=90)


def tiff(path, **how):
    tags = [
        (0x013C, 2, 0, "olgas-laptop", True), (0x9C9D, 1, 8, b"O\x00l\x00g\x00\x00\x00", True),
        (0x02BC, 1, len(XMP), XMP, True), (0xC62F, 2, 0, "SN-4471-0815", True), (0x010F, 2, 0, "Maker", True),
    ]  # fmt: skip
    tifffile.imwrite(
        path, PIXELS, photometric="rgb", description="copy of /home/olga/series/a.dng", metadata=None,
        extratags=tags, datetime="2026:05:04 12:00:00", **how,
    )  # fmt: skip


def raw(path):
    shot = Exposure(0.5, serial_number="SN-4471-0815", position=(59.91, 10.75), utc_offset="+02:00")
    write_dng(
        photograph(two_reds_and_green((450, 300)), default_camera(), np.random.default_rng(1), shot), path
    )


def pixels(path):
    return np.asarray(Image.open(io.BytesIO(path.read_bytes())))


def exif_of(path):
    return Image.open(io.BytesIO(path.read_bytes())).getexif()


WRITERS = {
    "a.jpg": jpeg, "a.png": png, "a.avif": avif, "a.tif": tiff, "a.dng": raw,
    "lzw.tif": lambda p: tiff(p, compression="lzw", byteorder=">"),
    "big.tif": lambda p: tiff(p, bigtiff=True, tile=(32, 32)),
}  # fmt: skip


@pytest.fixture(params=WRITERS)
def photo(request, tmp_path):
    path = tmp_path / request.param
    WRITERS[request.param](path)
    return path


def test_nothing_is_left_of_who_and_where(photo):
    before, content = photo.read_bytes(), stripped(photo)
    found = [s for s in SECRETS if s.encode() in before]
    assert len(found) >= (1 if photo.suffix == ".dng" else 3), "the test has something to find"
    assert [s for s in SECRETS if s.encode() in content] == []
    assert struct.pack("<6I", 59, 1, 54, 1, 36, 1) not in content
    if photo.suffix not in (".dng", ".tif"):
        told = Image.open(io.BytesIO(content)).getexif()
        assert GPS not in told
        assert not told.get_ifd(GPS)
        assert {0xA430, 0xA431, 0xA435, 0x927C, 0x9286} & set(told.get_ifd(SHOT)) == set()
    if photo.suffix in (".dng", ".tif"):
        with tifffile.TiffFile(io.BytesIO(content)) as file:
            tags = {t.code for p in file.pages for t in p.tags}
        assert {GPS, 0x013C, 0x9C9D, 0xC62F} & tags == set()


def small(path) -> bytes:
    """A little JPEG that tells who."""
    Image.fromarray(PIXELS[:24, :32]).save(path, comment=b"seen at home", quality=50)
    return path.read_bytes()


def test_thumbnails_of_a_jpeg_go(tmp_path):
    """They may show what was cropped: of JFIF, its extension (ITU-T T.871) and Exif (first directory after
    the picture's, CIPA DC-008).
    """
    inner, path, plain = small(tmp_path / "small.jpg"), tmp_path / "a.jpg", tmp_path / "plain.jpg"
    Image.fromarray(PIXELS).save(plain, quality=95)
    pixels = bytes(range(48))  # 4 x 4 in RGB
    jfif = b"JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x04\x04" + pixels
    entries = ((0x0103, 3, 6), (0x0201, 4, 68), (0x0202, 4, len(inner)))
    first = struct.pack("<HHHIHHI", 1, 0x0112, 3, 1, 1, 0, 26)
    second = struct.pack("<H", 3) + b"".join(struct.pack("<HHII", t, k, 1, v) for t, k, v in entries)
    exif = (b"II*\x00\x08\x00\x00\x00" + first + second + bytes(4)).ljust(68, b"\x00") + inner
    parts = ((0xE0, jfif), (0xE0, b"JFXX\x00\x10" + inner), (0xE1, b"Exif\x00\x00" + exif))
    segments = b"".join(struct.pack(">BBH", 0xFF, k, len(body) + 2) + body for k, body in parts)
    data = plain.read_bytes()
    path.write_bytes(data[:2] + segments + data[20:])
    with Image.open(path) as before:
        assert before.getexif().get_ifd(ExifTags.IFD.IFD1)[0x0202] == len(inner), "Pillow sees the thumbnail"
    content = stripped(path)
    assert pixels not in content
    assert content.count(b"\xff\xd8\xff") == 1
    assert b"seen at home" not in content
    with Image.open(io.BytesIO(content)) as after:
        assert np.array_equal(np.asarray(after), np.asarray(Image.open(plain)))
        assert after.getexif()[0x0112] == 1
        assert not after.getexif().get_ifd(ExifTags.IFD.IFD1)
        assert after.info["jfif_version"] == (1, 2)


def test_pixels_and_figures_of_the_shot_stay(photo, tmp_path):
    (tmp_path / "new").mkdir()
    new = tmp_path / "new" / photo.name
    new.write_bytes(stripped(photo))
    assert same(open_photo(photo), open_photo(new))
    if photo.name != "big.tif":  # of which no tags are read
        assert open_photo(new).metadata.taken_at.startswith("2026-05-04T12:00:00")
    reader = tifffile.imread if photo.suffix in (".dng", ".tif") else pixels
    assert np.array_equal(reader(photo), reader(new))
    if photo.suffix in (".jpg", ".png", ".avif"):
        told = exif_of(new)
        assert told[0x0110] == "Model"
        assert told.get(0x0112) == exif_of(photo).get(0x0112)
        assert told[0x010E].strip("\x00") == "copy of a.dng"
        shot = told.get_ifd(SHOT)
        assert (shot[0x9003], shot[0x829A], shot[0x8827], shot[0xA403]) == (
            "2026:05:04 12:00:00",
            0.5,
            100,
            1,
        )
        assert shot[0xA434] == "Lens 50 mm"


def test_once_more_it_stays_as_it_is(photo):
    photo.write_bytes(stripped(photo))
    assert stripped(photo) == photo.read_bytes()


@pytest.mark.parametrize("name", ["a.jpg", "a.avif", "a.png", "a.tif"])
def test_marks_of_editing_stay(name, tmp_path):
    path = tmp_path / name
    WRITERS[name](path)
    assert "edited-file" in open_photo(path).flags
    path.write_bytes(stripped(path))
    assert "edited-file" in open_photo(path).flags


def test_a_serial_number_in_an_unknown_place_is_refused(tmp_path):
    told = exif()
    told[0x010E] = "camera SN-4471-0815"
    Image.fromarray(PIXELS).save(tmp_path / "a.jpg", exif=told)
    with pytest.raises(
        CannotReadError, match="serial number or position in an unknown place too; include it"
    ):
        stripped(tmp_path / "a.jpg")


def test_what_would_measure_otherwise_is_refused(tmp_path, monkeypatch):
    """As raw files do whose black level stands in the maker's notes: here the DNG's own counts as unknown."""
    raw(tmp_path / "a.dng")
    monkeypatch.setattr("glowkin.light.strip_tiff._KEPT", stripping_kept() - {50714})
    with pytest.raises(CannotReadError, match=r"would not measure the same.*convert it to DNG"):
        stripped(tmp_path / "a.dng")


def stripping_kept():
    from glowkin.light import strip_tiff

    return strip_tiff._KEPT


def test_raw_formats_that_are_no_directories_are_refused(tmp_path, monkeypatch):
    path = tmp_path / "a.raf"
    path.write_bytes(b"FUJIFILMCCD-RAW " + bytes(200))
    monkeypatch.setattr(stripping, "open_photo", lambda _: None)
    with pytest.raises(CannotReadError, match="convert it to DNG and add that, or include it as it is"):
        stripped(path)


def test_a_preview_within_a_raw_file_tells_nothing_either(tmp_path):
    """Its Exif block is of another byte order, so that none of the texts sought is there as such."""
    raw(tmp_path / "a.dng")
    told = exif().tobytes()
    order = told[6:8]
    (tmp_path / "b.dng").write_bytes((tmp_path / "a.dng").read_bytes() + b"\xff\xd8" + told + XMP)
    content = stripped(tmp_path / "b.dng")
    assert [s for s in SECRETS if s.encode() in content] == []
    assert b"Firmware 1.0" in content
    assert struct.pack("<2I" if order == b"II" else ">2I", 59, 1) not in content


def test_other_pixels_are_noticed(tmp_path):
    """The comparison that everything rests on can fail: one pixel, one figure of the shot."""
    png(tmp_path / "a.png")
    other = PIXELS.copy()
    other[3, 5, 1] ^= 1
    Image.fromarray(other).save(tmp_path / "pixel.png", exif=exif())
    told = exif()
    told.get_ifd(SHOT)[0x829A] = 0.25
    Image.fromarray(PIXELS).save(tmp_path / "shot.png", exif=told)
    Image.fromarray(PIXELS).save(tmp_path / "same.png", exif=exif())
    first = open_photo(tmp_path / "same.png")
    assert same(first, open_photo(tmp_path / "same.png"))
    assert not same(first, open_photo(tmp_path / "pixel.png"))
    assert not same(first, open_photo(tmp_path / "shot.png"))
    assert not same(first, None)


@pytest.mark.parametrize("seed", range(40))
def test_broken_directories_end_in_an_error_of_ours(seed):
    """Bytes spoiled at random; an endless loop or another exception fails this."""
    rng = np.random.default_rng(seed)
    data = bytearray(exif().tobytes()[6:])
    for at in rng.integers(0, len(data), 8):
        data[at] = rng.integers(0, 256)
    block = Block(data, alone=True)
    try:
        block.strip()
    except StrangeError:
        return
    assert b"SN-4471-0815" not in bytes(block.data)


def test_directories_in_a_circle_are_refused():
    data = bytearray(b"II*\x00\x08\x00\x00\x00\x00\x00\x08\x00\x00\x00")
    with pytest.raises(StrangeError, match="in a circle"):
        Block(data).strip()


def test_png_checksums_are_right(tmp_path):
    png(tmp_path / "a.png")
    content = stripped(tmp_path / "a.png")
    at = 8
    while at < len(content):
        (size,) = struct.unpack_from(">I", content, at)
        assert (
            zlib.crc32(content[at + 4 : at + 8 + size]) == struct.unpack_from(">I", content, at + 8 + size)[0]
        )
        at += 12 + size
