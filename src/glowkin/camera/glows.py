"""Glows of known emission: two common ones as templates, a measured spectrum, or a form of a forms file.

Each is a spectrum with the ways it may be wrong. The templates are what solutions of these substances emit,
as nearly as one may say without measuring them: common practice, no source; their errors are wide.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.spectra import read_forms
from glowkin.camera.emission_prior import emission_prior
from glowkin.camera.grid import WAVELENGTH_NM, observer
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.emission_shape import Known, measured
from glowkin.colour.observer import cmfs
from glowkin.colour.spectrum_file import read_spectrum

if TYPE_CHECKING:
    from collections.abc import Callable

    from glowkin.base.spectra import Form
    from glowkin.base.uncertainty import Array

_ALIKE, _KEPT = 400, 8


@dataclass(frozen=True, eq=False)
class Glow:
    """A known emission by name: ``mean`` (201, power per nm) and ``modes`` (k x 201), what may be added to
    it, one standard deviation each; for 2 and 10 degrees u'v' (2) with covariance (2 x 2).

    >>> glow = known_glow("fluorescein")
    >>> glow.uv_prime[2][0].round(2).tolist()
    [0.08, 0.57]
    """

    name: str
    mean: Array
    modes: Array
    uv_prime: dict[int, tuple[Array, Array]]


def known_glow(kind: str) -> Glow:
    """A glow by name (``quinine-sulfate``, ``fluorescein``), from a spectrum file, or ``FILE.json:FORM``.

    Raises ``WrongUseError`` for what is none of these, ``CannotReadError`` for a file that cannot be read.
    """
    file = Path(kind.rpartition(":")[0] if ".json:" in kind.lower() else kind)
    return _glow(kind, file.stat().st_mtime_ns if file.is_file() else 0)


@lru_cache(maxsize=32)
def _glow(kind: str, _written: int) -> Glow:
    """Kept for as long as its file is not written anew."""
    if kind in TEMPLATES:
        return _template(kind)
    file, _, form = kind.rpartition(":")
    if file.lower().endswith(".json"):
        return _of_form(_chosen(Path(file), form))
    if kind.lower().endswith(".json"):
        raise WrongUseError(f"--reference {kind}: name a form of the file too, as {kind}:NAME")
    if Path(kind).suffix or Path(kind).exists():
        spectrum = read_spectrum(Path(kind))
        if spectrum.value.max() <= 0:
            raise CannotReadError(f"{kind}: holds no light above zero; export the emission")
        return of_known(
            Path(kind).name, measured(spectrum.wavelength_nm, spectrum.value / spectrum.value.max())
        )
    raise WrongUseError(
        f"--reference {kind}: is not known; give {', '.join(TEMPLATES)}, a spectrum file, or FILE.json:FORM"
    )


def _chosen(file: Path, name: str) -> Form:
    forms = {form.name: form for form in read_forms(file)}
    if name not in forms:
        raise WrongUseError(
            f"--reference {file}:{name}: no such form; there are {', '.join(forms) or 'none'}"
        )
    return forms[name]


def _quinine(peak: float, width: float, red: float) -> Array:
    """Quinine sulfate in dilute acid: one broad band."""
    return _band(1e7 / peak, width, width * red)


def _fluorescein(peak: float, width: float, shoulder: float) -> Array:
    """Fluorescein in dilute base: a narrow band with a shoulder to the red."""
    top = 1e7 / peak
    return _band(top, width, width) + shoulder * _band(top - 1250.0, 1.3 * width, 1.5 * width)


TEMPLATES: dict[str, tuple[Callable[..., Array], tuple[float, ...], tuple[float, ...]]] = {
    "quinine-sulfate": (_quinine, (455.0, 4200.0, 1.1), (6.0, 500.0, 0.12)),
    "fluorescein": (_fluorescein, (515.0, 1250.0, 0.4), (5.0, 200.0, 0.15)),
}
"""Shape, its figures (peak in nm, full width in 1/cm, ...) and their standard deviations."""


def _band(centre: float, blue: float, red: float) -> Array:
    """A band of full widths to either side, in 1/cm, photons turned into power per nm."""
    away = 1e7 / WAVELENGTH_NM - centre
    width = np.where(away > 0, blue, red)
    return np.asarray(np.exp(-4 * np.log(2) * (away / width) ** 2) * (1e7 / WAVELENGTH_NM / centre) ** 3)


def _template(name: str) -> Glow:
    shape, figures, sd = TEMPLATES[name]
    mean = shape(*figures)
    steps = np.diag(sd)
    modes = np.array([(shape(*(figures + s)) - shape(*(figures - s))) / 2 for s in steps])
    return _seen(name, mean, modes)


def of_known(name: str, known: Known) -> Glow:
    """A glow from a spectrum known but for an error."""
    nm = cmfs()[0]
    at = np.searchsorted(nm, WAVELENGTH_NM)
    uv = {degrees: known.uv_prime(degrees) for degrees in (2, 10)}
    return Glow(name, known.mean[at], known.modes[:, at], uv)


def _of_form(form: Form) -> Glow:
    if form.wavelength_nm and form.power:
        return of_known(form.name, measured(np.array(form.wavelength_nm), np.array(form.power)))
    return _of_colour(form)


def _of_colour(form: Form) -> Glow:
    """What spectra of this colour are like by the prior: their mean and main differences."""
    prior, colour = emission_prior(), np.array([form.u_prime, form.v_prime])
    away = prior.uv_prime[form.observer] - colour
    C = np.array(form.u_prime_v_prime_covariance) + 1e-6 * np.eye(2)
    near = np.argsort(np.einsum("ni,ij,nj->n", away, np.linalg.inv(C), away))[:_ALIKE]
    spectra = prior.spectra[near].astype(float)
    spectra /= spectra.sum(axis=1, keepdims=True)
    mean = spectra.mean(axis=0)
    _, size, ways = np.linalg.svd(spectra - mean, full_matrices=False)
    glow = _seen(form.name, mean, ways[:_KEPT] * size[:_KEPT, None] / np.sqrt(_ALIKE))
    own = (colour, np.array(form.u_prime_v_prime_covariance))
    return Glow(glow.name, glow.mean, glow.modes, {**glow.uv_prime, form.observer: own})


def _seen(name: str, mean: Array, modes: Array) -> Glow:
    uv = {}
    for degrees in (2, 10):
        here = XYZ_to_uv_prime(mean @ observer(degrees))
        moved = XYZ_to_uv_prime((mean + modes) @ observer(degrees)) - here
        uv[degrees] = (here, moved.T @ moved)
    return Glow(name, mean, modes, uv)
