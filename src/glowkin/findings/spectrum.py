"""What a measured spectrum says, and forms made from it or from published figures."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.spectra import Form, SpectrumRead
from glowkin.base.uncertainty import Uncertain, matrix
from glowkin.colour.chromaticity import jacobian_xy_uv_prime, uv_prime_to_xy, xy_to_uv_prime
from glowkin.colour.emission_shape import chromaticity, cut_off, measured, shape_of
from glowkin.colour.observer import inside_locus, white_point_xy
from glowkin.colour.photon import photon_to_power
from glowkin.findings.describe import describe

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.colour.spectrum_file import MeasuredSpectrum

_CUT_OFF, _BELOW_ZERO, _COARSE_NM = 0.03, 0.02, 10.0
PUBLISHED_SD_XY = 0.003
"""How far instruments differ over one emission, in x and y (common practice, no source)."""


@dataclass(frozen=True)
class Told:
    """What the user says of a spectrum or form: a white and an observer, and words to keep with a form."""

    white_point: str = "E"
    observer: int = 2
    source: str = ""
    excitation: str = ""
    notes: str = ""


def power_of(spectrum: MeasuredSpectrum, *, photons: bool) -> Array:
    """Power per nm of a spectrum that counts photons or already is power, its highest value 1."""
    value = spectrum.value
    power = photon_to_power(spectrum.wavelength_nm, value) if photons else value
    return np.asarray(power / power.max())


def read_out(
    path: str, sha256: str, spectrum: MeasuredSpectrum, told: Told, *, photons: bool = False
) -> SpectrumRead:
    """Chromaticity, dominant wavelength, purity, peak, middle and width of a measured spectrum."""
    nm = spectrum.wavelength_nm
    _check_light(path, spectrum)
    power = power_of(spectrum, photons=photons)
    uv = chromaticity(nm, power, told.observer)
    covariance = measured(nm, power).uv_prime(told.observer)[1]
    white = white_point_xy(told.white_point, told.observer)
    words = describe([Uncertain(uv, covariance)], white, told.observer)[0]
    shape = shape_of(nm, power)
    left, right = shape.half_height_nm
    return SpectrumRead(
        path=path,
        sha256=sha256,
        photons=photons,
        wavenumbers=spectrum.wavenumbers,
        range_nm=(float(nm[0]), float(nm[-1])),
        largest_step_nm=float(np.diff(nm).max()),
        observer=told.observer,
        white_point=told.white_point,
        white_point_xy=(float(white[0]), float(white[1])),
        u_prime=float(uv[0]),
        v_prime=float(uv[1]),
        u_prime_v_prime_covariance=matrix(covariance),
        **asdict(words),
        peak_nm=shape.peak_nm,
        photon_peak_nm=shape.photon_peak_nm,
        centroid_nm=shape.centroid_nm,
        half_height_nm=(_known(left), _known(right)),
        width_nm=_known(right - left),
        flags=_flags(nm, power),
    )


def _check_light(path: str, spectrum: MeasuredSpectrum) -> None:
    nm, value = spectrum.wavelength_nm, spectrum.value
    if value.max() <= 0:
        raise CannotMeasureError(f"{path}: holds no light above zero; export the emission, not the blank")
    visible = (nm >= 380.0) & (nm <= 780.0)
    if visible.sum() < 2 or value[visible].sum() <= 0:
        raise CannotMeasureError(f"{path}: has no light from 380 to 780 nm, so it has no colour")


def _flags(nm: Array, power: Array) -> tuple[str, ...]:
    visible = np.diff(nm)[(nm[1:] > 380.0) & (nm[:-1] < 780.0)]
    checks = {
        "spectrum-cut-off": max(cut_off(nm, power)) > _CUT_OFF,
        "spectrum-below-zero": float(np.quantile(power, 0.05)) < -_BELOW_ZERO,
        "spectrum-coarse": float(visible.max(initial=0.0)) > _COARSE_NM,
    }
    return tuple(name for name, raised in checks.items() if raised)


def form_of(name: str, read: SpectrumRead, spectrum: MeasuredSpectrum, told: Told) -> Form:
    """A form from a measured spectrum, which is kept with it."""
    power = power_of(spectrum, photons=read.photons)
    return Form(
        name=name,
        u_prime=read.u_prime,
        v_prime=read.v_prime,
        u_prime_v_prime_covariance=read.u_prime_v_prime_covariance,
        x=read.x,
        y=read.y,
        observer=read.observer,
        basis="measured-spectrum",
        source=told.source or read.path,
        excitation=told.excitation,
        notes=told.notes,
        wavelength_nm=tuple(round(float(w), 3) for w in spectrum.wavelength_nm),
        power=tuple(float(f"{p:.4g}") for p in power),
    )


def published_form(
    name: str, figures: Sequence[str], told: Told, *, uv: bool = False, error: float | None = None
) -> Form:
    """A form from a published chromaticity: two figures as printed, xy or u'v'.

    The error (one standard deviation in x and y, or u' and v') is, unless given, that of rounding to these
    digits, half a unit of the last either way, and what instruments differ by, 0.003 in xy.
    """
    given = np.array([_figure(text) for text in figures])
    xy = uv_prime_to_xy(given) if uv else given
    if not inside_locus(xy, told.observer):
        raise WrongUseError(
            f"--published {','.join(figures)}: no light has this colour; give x,y, or u',v' with --uv"
        )
    if not told.source:
        raise WrongUseError("--published: say where the figures are from, with --source DOI or words")
    uv_prime = given if uv else xy_to_uv_prime(given)
    to_xy = jacobian_xy_uv_prime(uv_prime)
    to_uv = np.linalg.inv(to_xy)
    if error is not None:
        J = np.eye(2) if uv else to_uv
        covariance = error**2 * J @ J.T
    else:
        rounding = np.diag([(10.0 ** -_decimals(text)) ** 2 / 12 for text in figures])
        instrument = PUBLISHED_SD_XY**2 * to_uv @ to_uv.T
        covariance = instrument + (rounding if uv else to_uv @ rounding @ to_uv.T)
    return Form(
        name=name,
        u_prime=float(uv_prime[0]),
        v_prime=float(uv_prime[1]),
        u_prime_v_prime_covariance=matrix(covariance),
        x=float(xy[0]),
        y=float(xy[1]),
        observer=told.observer,
        basis="published",
        source=told.source,
        excitation=told.excitation,
        notes=told.notes,
    )


def _figure(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = np.nan
    if not 0.0 < value < 1.0:
        raise WrongUseError(f"--published {text}: give two figures between 0 and 1, such as 0.31,0.62")
    return value


def _decimals(text: str) -> int:
    return len(text.strip().partition(".")[2])


def _known(figure: float) -> float | None:
    return float(figure) if np.isfinite(figure) else None
