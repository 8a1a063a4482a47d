"""Spectra measured elsewhere and forms of known colour: frozen records and their documents."""

from __future__ import annotations

import json
from dataclasses import dataclass
from math import isfinite
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
    DOI or words; ``excitation`` the lamp, as 365 nm. A measured spectrum is kept in power per nm, of a
    photograph its ``camera``, the errors shared with whatever else that camera sees, and the sample's flags.
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
    shared_errors: dict[str, Matrix] | None = None
    camera: str = ""
    photograph_sha256: str = ""
    flags: tuple[str, ...] = ()


def forms_document(forms: Sequence[Form], program: str) -> Row:
    """The glowkin.forms.v1 document."""
    return {"schema": FORMS_SCHEMA, "program": program, "forms": [to_json(form) for form in forms]}


def read_forms(path: Path) -> list[Form]:
    """The forms of a file.

    Raises ``CannotReadError`` for a file that is none, or misses something, with the form's name.
    """
    return forms_in(forms_content(path), str(path))


def forms_content(path: Path) -> bytes:
    """What is in a forms file, to be kept as it is; ``CannotReadError`` where it cannot be read."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except OSError:
        raise CannotReadError(f"{path}: is no forms file; write one with glowkin spectrum --form") from None


def forms_in(content: bytes, path: str) -> list[Form]:
    """The forms in a file's content; errors call it ``path``, else as ``read_forms``."""
    try:
        document = json.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        raise CannotReadError(f"{path}: is no forms file; write one with glowkin spectrum --form") from None
    _check_schema(path, document)
    rows = document.get("forms", ())
    if not isinstance(rows, list):
        raise CannotReadError(f"{path}: forms must be a list; save them anew with glowkin spectrum --form")
    forms = [_form(path, row) for row in rows]
    names = [form.name for form in forms]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise CannotReadError(f"{path}: holds two forms named {twice!r}; give one of them another name")
    return forms


def _check_schema(path: str, document: Any) -> None:
    schema = document.get("schema") if isinstance(document, dict) else None
    if schema == FORMS_SCHEMA:
        return
    if isinstance(schema, str) and schema.startswith(FORMS_SCHEMA.rstrip("0123456789")):
        raise CannotReadError(
            f"{path}: is a forms file of another version, {schema}; this program reads {FORMS_SCHEMA}: save "
            "the forms anew with glowkin spectrum --form, or use the program that wrote it"
        )
    raise CannotReadError(
        f"{path}: is no forms file ({FORMS_SCHEMA}); write one with glowkin spectrum --form"
    )


def _form(path: str, row: Any) -> Form:
    name = row.get("name", "?") if isinstance(row, dict) else "?"
    try:
        form = build(Form, row)
        sound = _sound(form)
    except (TypeError, AttributeError, ValueError):
        sound = False
    if not sound:
        raise CannotReadError(
            f"{path}: form {name!r} is incomplete; save it anew with glowkin spectrum --form"
        )
    return form


def _sound(form: Form) -> bool:
    """Whether it is a colour with errors that can be."""
    (a, b), (c, d) = form.u_prime_v_prime_covariance
    numbers = [form.u_prime, form.v_prime, a, b, c, d]
    for first, second in (form.shared_errors or {}).values():
        numbers += [v for pair in zip(first, second, strict=True) for v in pair]
    sound = all(isinstance(v, int | float) and abs(v) < 10 for v in numbers)
    sound = sound and min(a, d) >= 0 and abs(b - c) <= 1e-9 and b * c <= a * d * (1 + 1e-6)
    sound = sound and form.v_prime > 0 and form.observer in (2, 10) and form.basis in BASES
    sound = sound and isinstance(form.name, str) and bool(form.name.strip())
    spectrum = (*(form.wavelength_nm or ()), *(form.power or ()))
    sound = sound and all(isinstance(v, int | float) and isfinite(v) for v in spectrum)
    return sound and len(form.wavelength_nm or ()) == len(form.power or ())
