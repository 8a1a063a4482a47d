"""Files that are not what the camera wrote at the shot say so, where they carry a sign of it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import tifffile
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from chart import chart, exif_block
from glowkin.light.decode import open_photo

DATA = Path(__file__).parent / "data"
XMP = '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF>{}</rdf:RDF></x:xmpmeta>'
IPTC = "http://cv.iptc.org/newscodes/digitalsourcetype/"


def flags(tmp_path, *, xmp="", kind="JPEG", **tags):
    out = io.BytesIO()
    options = {"xmp": XMP.format(xmp).encode()} if xmp else {}
    Image.fromarray(chart(8)).save(out, kind, exif=exif_block(**tags), **options)
    (tmp_path / "a").write_bytes(out.getvalue())
    return {"edited-file", "merged-by-phone"} & set(open_photo(tmp_path / "a").flags)


def test_what_a_camera_writes_is_neither_merged_nor_edited(tmp_path):
    assert flags(tmp_path) == set()
    for firmware in ("Ver.1.02", "17.5.1", "1.0.003", "HDR+ 1.0.52", "G991BXXS5CVF4", "MediaTek Camera"):
        assert flags(tmp_path, _0131=firmware) == set()
    assert flags(tmp_path, _0132="2026:05:04 13:30:31") == set()  # written after half a minute
    assert flags(tmp_path, xmp="<xmp:CreatorTool>1.02</xmp:CreatorTool>") == set()


@pytest.mark.parametrize(
    "tags",
    [
        {"_0131": "GIMP 2.10.36"},
        {"_0131": "Some Photo Editor 3"},
        {"_000B": "converter 1.0"},  # ProcessingSoftware
        {"_9213": "cropped"},  # ImageHistory, TIFF/EP
        {"_0132": "2026:05:04 18:02:00"},  # changed hours after the shot
    ],
    ids=lambda tags: next(iter(tags)),
)
@pytest.mark.parametrize("kind", ["JPEG", "TIFF", "PNG", "AVIF"])
def test_an_edited_file_is_flagged(tmp_path, tags, kind):
    assert flags(tmp_path, kind=kind, **tags) == {"edited-file"}


@pytest.mark.parametrize(
    "xmp",
    [
        '<xmpMM:History><rdf:Seq><rdf:li stEvt:action="saved"/></rdf:Seq></xmpMM:History>',
        '<xmpMM:DerivedFrom stRef:documentID="1"/>',
    ],
)
@pytest.mark.parametrize("kind", ["JPEG", "AVIF"])
def test_an_editing_history_is_flagged(tmp_path, xmp, kind):
    assert flags(tmp_path, xmp=xmp, kind=kind) == {"edited-file"}


def test_an_editing_history_in_tiff_and_png_is_flagged(tmp_path):
    packet = XMP.format('<xmpMM:DerivedFrom stRef:documentID="1"/>').encode()
    tags = [(700, 1, len(packet), packet, True)]
    tifffile.imwrite(tmp_path / "a.tif", chart(8), photometric="rgb", metadata=None, extratags=tags)
    text = PngInfo()
    text.add_itxt("XML:com.adobe.xmp", packet.decode())
    Image.fromarray(chart(8)).save(tmp_path / "a.png", pnginfo=text)
    for name in ("a.tif", "a.png"):
        assert "edited-file" in open_photo(tmp_path / name).flags


@pytest.mark.parametrize(
    "xmp",
    [
        f"<Iptc4xmpExt:DigitalSourceType>{IPTC}compositeCapture</Iptc4xmpExt:DigitalSourceType>",
        f'<rdf:Description Iptc4xmpExt:DigitalSourceType="{IPTC}computationalCapture"/>',
        '<rdf:Description hdrgm:Version="1.0"/>',
    ],
    ids=["composite", "computational", "gain map"],
)
def test_merged_captures_are_flagged(tmp_path, xmp):
    assert flags(tmp_path, xmp=xmp) == {"merged-by-phone"}


def test_a_single_capture_is_not_taken_for_a_merged_one(tmp_path):
    xmp = f"<Iptc4xmpExt:DigitalSourceType>{IPTC}digitalCapture</Iptc4xmpExt:DigitalSourceType>"
    assert flags(tmp_path, xmp=xmp) == set()


def test_a_gain_map_beside_the_picture_is_flagged(tmp_path):
    # the auxiliary picture of the transparent file, called a gain map instead, as phones name theirs
    data = (DATA / "opaque.heic").read_bytes()
    name = next(
        n
        for n in (b"urn:mpeg:mpegB:cicp:systems:auxiliary:alpha", b"urn:mpeg:hevc:2015:auxid:1")
        if n in data
    )
    (tmp_path / "a").write_bytes(data.replace(name, b"urn:x:hdrgainmap".ljust(len(name), b"p")))
    assert "merged-by-phone" in open_photo(tmp_path / "a").flags
    assert "merged-by-phone" not in open_photo(DATA / "opaque.heic").flags
