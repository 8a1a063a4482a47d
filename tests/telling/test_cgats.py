"""CGATS.17 text (ISO 28178), read by an independent reader: that of Little CMS, which Pillow brings along."""

from __future__ import annotations

import ctypes
from dataclasses import replace
from pathlib import Path

import PIL
import pytest
from PIL import ImageCms

from glowkin.camera.chart_file import _cgats
from glowkin.telling.cgats import cgats_text
from made import GREEN, RED, photographs, steady


@pytest.fixture(scope="module")
def lcms():
    """Little CMS as a library, with the few functions of its reader of such tables."""
    found = sorted((Path(PIL.__file__).parent.parent / "pillow.libs").glob("liblcms2*"))
    if not found:
        pytest.skip("Pillow brings no Little CMS on this system")
    assert ImageCms.core.littlecms_version  # loaded with what it needs
    library = ctypes.CDLL(str(found[0]))
    library.cmsIT8LoadFromMem.restype = ctypes.c_void_p
    library.cmsIT8LoadFromMem.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_uint32]
    for name, arguments in (("cmsIT8GetProperty", 1), ("cmsIT8GetPropertyMulti", 2), ("cmsIT8GetData", 2)):
        function = getattr(library, name)
        function.restype = ctypes.c_char_p
        function.argtypes = [ctypes.c_void_p, *[ctypes.c_char_p] * arguments]
    library.cmsIT8Free.argtypes = [ctypes.c_void_p]
    return library


@pytest.fixture
def photos():
    series = photographs([0.0, 1.0], {'red "dry", 5 µm\tof\n2': steady(2, RED), "green": steady(2, GREEN)})
    C = ((1.25e-6, -3e-7), (-3e-7, 2.5e-6))
    coloured = replace(
        series[0].samples[0], x=0.65, y=0.345, u_prime_v_prime_covariance=C, dominant_wavelength_nm=612.5,
        dominant_wavelength_interval_nm=(608.5, 617.25), excitation_purity=0.98, flags=("clipped", "moved"),
    )  # fmt: skip
    return [replace(series[0], samples=(coloured, series[0].samples[1])), series[1]]


def test_an_independent_reader_reads_every_figure(lcms, photos):
    text = cgats_text(photos, "Drying, M\u00fcller", "glowkin 0.1.0").encode("ascii")
    table = lcms.cmsIT8LoadFromMem(None, text, len(text))
    assert table
    try:
        assert lcms.cmsIT8GetProperty(table, b"ORIGINATOR") == b"glowkin 0.1.0"
        assert lcms.cmsIT8GetProperty(table, b"DESCRIPTOR") == b"Drying, M\\xfcller"
        pairs = ((b"WEIGHTING_FUNCTION", b"OBSERVER"), (b"COMPUTATIONAL_PARAMETER", b"WHITE_POINT"))
        assert [lcms.cmsIT8GetPropertyMulti(table, *pair) for pair in pairs] == [b"2 degree", b"E"]
        assert lcms.cmsIT8GetProperty(table, b"NUMBER_OF_SETS") == b"4"
        first = {k: lcms.cmsIT8GetData(table, b"1", k.encode()).decode() for k in FIRST}
        assert first == FIRST
        assert lcms.cmsIT8GetData(table, b"2", b"XYY_X") == b"NA"
        luminance = float(lcms.cmsIT8GetData(table, b"4", b"LUMINANCE_RELATIVE"))
        told = photos[1].samples[1].luminance_relative
        assert luminance == pytest.approx(told, rel=1e-8), "it keeps nine digits of a number"
    finally:
        lcms.cmsIT8Free(table)


FIRST = {
    "SAMPLE_NAME": "red 'dry', 5 \\xb5m of 2", "XYY_X": "0.65", "XYY_Y": "0.345", "U_PRIME": "0.2",
    "V_PRIME": "0.5", "U_PRIME_VARIANCE": "1.25e-06", "U_PRIME_V_PRIME_COVARIANCE": "-3e-07",
    "V_PRIME_VARIANCE": "2.5e-06", "DOMINANT_WAVELENGTH": "612.5", "DOMINANT_WAVELENGTH_LOW": "608.5",
    "DOMINANT_WAVELENGTH_HIGH": "617.25", "EXCITATION_PURITY": "0.98", "PHOTOGRAPH": "00.dng",
    "TAKEN_AT": "2026-05-04T09:00:00", "FLAGS": "clipped moved",
}  # fmt: skip


def test_every_field_that_is_not_the_standards_is_declared(photos):
    """Fields of the standard from memory; all others need a KEYWORD line before the format."""
    lines = cgats_text(photos, "t", "p").split("\r\n")
    fields = lines[lines.index("BEGIN_DATA_FORMAT") + 1].split("\t")
    declared = [line.split("\t")[1].strip('"') for line in lines if line.startswith("KEYWORD")]
    assert set(fields) - set(declared) == {"SAMPLE_ID", "XYY_X", "XYY_Y"}
    assert set(declared) <= set(fields)
    assert f"NUMBER_OF_FIELDS\t{len(fields)}" in lines
    assert lines[0] == "CGATS.17"


def test_the_houses_own_reader_of_charts_finds_the_table(photos):
    text = cgats_text(photos, "t", "p")
    nm, values = _cgats(Path("t.txt"), text)
    assert (len(nm), values.shape) == (0, (4, 0)), "four sets, no reflectances"


def test_no_sample_is_an_empty_table(photos):
    """Little CMS takes no table without sets; that of the house's reader is empty."""
    text = cgats_text([replace(photos[0], samples=())], "t", "p")
    assert "NUMBER_OF_SETS\t0\r\nBEGIN_DATA\r\nEND_DATA\r\n" in text
