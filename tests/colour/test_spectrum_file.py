"""Spectrum files as instruments and spreadsheets write them."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.errors import CannotReadError
from glowkin.colour.spectrum_file import read_spectrum

NM = [400.0, 450.5, 500.0, 550.0, 600.0]
VALUE = [0.1, 0.25, 1.0, 0.5, 0.125]


def written(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "s.csv"
    path.write_bytes(text.encode(encoding))
    return path


def lines(mark, comma=".", order=(0, 1, 2, 3, 4)):
    return "\n".join(f"{NM[i]:g}{mark}{VALUE[i]:g}".replace(".", comma) for i in order) + "\n"


@pytest.mark.parametrize(
    "text",
    [
        lines(","),
        lines(";"),
        lines("\t"),
        lines(" "),
        lines("   "),
        lines(", "),
        lines(";", ","),
        lines("\t", ","),
        lines(" ", ","),
        "wavelength_nm,intensity\n" + lines(","),
        "Wellenlänge;Intensität\n" + lines(";", ","),
        "Sample: green, batch 2\nScan speed: slow\n\nnm\tcounts\n" + lines("\t"),
        "# made up\n" + lines(",") + "# the end\n",
        lines(",", order=(4, 2, 0, 1, 3)),
        lines(",").replace("\n", ",7,8\n"),
        lines(",").replace("\n", "\r\n"),
        '"wavelength","intensity"\n' + lines(",").replace("450.5", '"450.5"'),
    ],
)
def test_separators_headers_and_order_make_no_difference(tmp_path, text):
    found = read_spectrum(written(tmp_path, text))
    assert found.wavelength_nm.tolist() == NM
    assert found.value.tolist() == VALUE
    assert not found.wavenumbers


@pytest.mark.parametrize(
    "text",
    [
        "nm,counts,dark\n" + "".join(f"{w},12,5\n" for w in range(400, 700, 50)),
        'nm,"counts, of 1 s",dark,\n' + "".join(f"{w},12,5,\n" for w in range(400, 700, 50)),
        "nm,counts\n" + "".join(f"{w},12,,\n" for w in range(400, 700, 50)),
        "Vial 3\nnm,counts,dark,note\n" + "".join(f"{w},12,5,a, b, c\n" for w in range(400, 700, 50)),
    ],
)
def test_further_columns_of_whole_numbers_are_passed_over(tmp_path, text):
    assert read_spectrum(written(tmp_path, text)).value.tolist() == [12.0] * 6


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_marks_and_encodings_are_passed_over(tmp_path, encoding):
    found = read_spectrum(written(tmp_path, "Länge;Höhe\n" + lines(";"), encoding))
    assert found.wavelength_nm.tolist() == NM


# By hand: 20 000 1/cm is 500 nm, and per nm a value is larger by 1e7 / (500 nm)^2 = 40 than per 1/cm.
def test_wavenumbers_become_nanometres_and_values_keep_their_light(tmp_path):
    text = "wavenumber_cm,intensity\n" + "".join(
        f"{w},{v}\n" for w, v in zip(range(16000, 26000, 2000), VALUE, strict=True)
    )
    found = read_spectrum(written(tmp_path, text))
    assert found.wavenumbers
    assert found.wavelength_nm == pytest.approx(1e7 / np.arange(24000, 14000, -2000))
    assert found.value[2] == pytest.approx(40.0 * VALUE[2])
    fine = np.arange(14000.0, 26000.0, 10.0)
    power = np.exp(-0.5 * ((fine - 19000.0) / 800.0) ** 2)
    text = "Wavenumber / cm-1;counts\n" + "".join(
        f"{w:g};{p:.9f}\n" for w, p in zip(fine, power, strict=False)
    )
    found = read_spectrum(written(tmp_path, text))
    assert np.trapezoid(found.value, found.wavelength_nm) == pytest.approx(
        np.trapezoid(power, fine), rel=1e-3
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (lines(",") + "500,0.9\n", "500 is there more than once"),
        (lines(",").replace("0.25", "nan"), "no numbers"),
        (lines(",").replace("0.25", "abc"), "line 2, '450.5,abc', is not wavelength_nm,intensity"),
        (lines(",").replace("0.25", ""), "line 2"),
        (
            "400,1\n410,x\n420,nan\n430,1\n430,2\n",
            r"line 2, '410,x', is not wavelength_nm,intensity; line 3, '420,nan', holds values that are no "
            r"numbers; line 5: 430 is there more than once; keep one line of it; correct these lines$",
        ),
        ("400,1\n" + "410,x\n" * 9, r"line 5, .*; and 5 more; correct these lines$"),
        (lines(",").replace("0.5\n", "0.5\nEND OF DATA\n"), "line 5, 'END OF DATA'"),
        ("400,1\n500,2\n", "holds 2 wavelengths"),
        ("", "holds 0 wavelengths"),
        ("only words\n", "holds 0 wavelengths"),
        ("".join(f"{w},1\n" for w in range(16000, 26000, 1000)), "wavenumber_cm,intensity"),
        ("".join(f"0.{w},1\n" for w in range(400, 700, 50)), "give wavelengths in nm"),
        ("".join(f"{w},5,0,25\n" for w in range(400, 700, 50)), "two ways.*semicolons between columns"),
        ("".join(f"{w},12,5\n" for w in range(400, 700, 50)), "two ways.*semicolons between columns"),
        ("A title\n" + "".join(f"{w},12,5\n" for w in range(400, 700, 50)), "may be read in two ways"),
        (
            "nm,counts\n400,12\n" + "".join(f"{w},12,5\n" for w in range(450, 700, 50)),
            "3 numbers in a line under 2 names, .*; save it with semicolons .*, or name every column",
        ),
        (lines(",").replace("0.25", "1e308"), "line 2, '450.5,1e308', holds values that are far too large"),
        ("400," + "1" * 140_000, "line 1, .*is too long for a line of a table; take it out"),
        ("wavenumber_cm,i\n" + "".join(f"{w},1\n" for w in range(0, 26000, 1000)), "0 or below"),
    ],
)
def test_what_cannot_be_read_is_told_in_a_sentence(tmp_path, text, words):
    with pytest.raises(CannotReadError, match=words) as caught:
        read_spectrum(written(tmp_path, text))
    assert "s.csv" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_no_file_a_folder_and_a_picture_are_told(tmp_path):
    with pytest.raises(CannotReadError, match="there is no such file"):
        read_spectrum(tmp_path / "none.csv")
    with pytest.raises(CannotReadError, match="cannot be read"):
        read_spectrum(tmp_path)
    picture = tmp_path / "a.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0")
    with pytest.raises(CannotReadError, match="no text file"):
        read_spectrum(picture)
