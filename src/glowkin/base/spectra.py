"""Spectra measured elsewhere and forms of known colour: frozen records and their documents."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import CannotReadError
from glowkin.base.html_table import table_html
from glowkin.base.records import Matrix, Pair, Row, build, to_json

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

FORMS_SCHEMA = "glowkin.forms.v1"
BASES = ("measured-spectrum", "photograph", "published")
SPECTRUM_COLUMNS = ("path", "u_prime", "v_prime", "dominant_wavelength_nm", "peak_nm", "width_nm", "flags")


@dataclass(frozen=True)
class SpectrumRead:
    """What a measured spectrum says, in power per nm.

    ``photons``: the file counted photons. ``photon_peak_nm`` is the peak of the same spectrum in photons per
    nm. The covariance holds a spectrometer's usual errors, and the light a range too short leaves out.
    """

    path: str
    sha256: str
    photons: bool
    wavenumbers: bool
    range_nm: Pair
    largest_step_nm: float
    observer: int
    white_point: str
    white_point_xy: Pair
    u_prime: float
    v_prime: float
    u_prime_v_prime_covariance: Matrix
    x: float
    y: float
    dominant_wavelength_nm: float | None
    dominant_wavelength_interval_nm: Pair | None
    complementary_wavelength_nm: float | None
    complementary_wavelength_interval_nm: Pair | None
    excitation_purity: float
    excitation_purity_interval: Pair
    hue_angle_uv_deg: float | None
    saturation_uv: float
    peak_nm: float
    photon_peak_nm: float
    centroid_nm: float
    half_height_nm: tuple[float | None, float | None]
    width_nm: float | None
    flags: tuple[str, ...] = ()

    def rows(self) -> list[Row]:
        """One plain row."""
        return [to_json(self)]

    def _repr_html_(self) -> str:
        return table_html(self.rows(), SPECTRUM_COLUMNS)


def spectrum_document(read: SpectrumRead | None, errors: Any, program: str, form: Form | None = None) -> Row:
    """The glowkin.spectrum.v1 document, with the form that was kept."""
    return {
        "schema": "glowkin.spectrum.v1",
        "program": program,
        "errors": list(errors),
        "spectrum": None if read is None else to_json(read),
        "form": None if form is None else to_json(form),
    }


@dataclass(frozen=True)
class Form:
    """A form of known colour. ``basis`` is measured-spectrum, photograph or published; ``source`` a file, a
    DOI or words; ``excitation`` the lamp, as 365 nm. A measured spectrum is kept in power per nm.
    """

    name: str
    u_prime: float
    v_prime: float
    u_prime_v_prime_covariance: Matrix
    x: float
    y: float
    observer: int
    basis: str
    source: str
    excitation: str = ""
    notes: str = ""
    wavelength_nm: tuple[float, ...] | None = None
    power: tuple[float, ...] | None = None


def forms_document(forms: Sequence[Form], program: str) -> Row:
    """The glowkin.forms.v1 document."""
    return {"schema": FORMS_SCHEMA, "program": program, "forms": [to_json(form) for form in forms]}


def read_forms(path: Path) -> list[Form]:
    """The forms of a file.

    Raises ``CannotReadError`` for a file that is none, or misses something, with the form's name.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except (OSError, ValueError):
        raise CannotReadError(f"{path}: is no forms file; write one with glowkin spectrum --form") from None
    if not isinstance(document, dict) or document.get("schema") != FORMS_SCHEMA:
        raise CannotReadError(f"{path}: is no forms file ({FORMS_SCHEMA}); write one with glowkin spectrum")
    return [_form(path, row) for row in document.get("forms", ())]


def _form(path: Path, row: Any) -> Form:
    name = row.get("name", "?") if isinstance(row, dict) else "?"
    try:
        form = build(Form, row)
        numbers = [form.u_prime, form.v_prime, *(v for r in form.u_prime_v_prime_covariance for v in r)]
        sound = len(numbers) == 6 and all(isinstance(v, int | float) for v in numbers)
        sound &= form.v_prime > 0 and form.observer in (2, 10) and form.basis in BASES
        sound &= len(form.wavelength_nm or ()) == len(form.power or ())
    except (TypeError, AttributeError):
        sound = False
    if not sound:
        raise CannotReadError(
            f"{path}: form {name!r} is incomplete; save it anew with glowkin spectrum --form"
        )
    return form
