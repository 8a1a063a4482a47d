"""Lights of known spectrum, listed in TOML, as the calibration of a camera uses them.

One ``[[light]]`` each, with ``peak_nm`` or ``dominant_nm`` and ``fwhm_nm``, optional ``peak_sd_nm`` (else 3),
or ``spectrum = "file.csv"``. A diode's template rises steeper than it falls and has exponential feet,
as measured diodes have (common practice, no source).
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from glowkin.base.errors import CannotReadError
from glowkin.base.files import named
from glowkin.base.wrong_keys import wrong_keys
from glowkin.camera.calibrate import LightsSeen
from glowkin.camera.grid import WAVELENGTH_NM, observer, on_grid
from glowkin.colour.dominant import dominant
from glowkin.colour.spectrum_file import read_spectrum

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.uncertainty import Array

PEAK_SD_NM, _SCALE_SD_NM = 3.0, 0.5
_RISE, _FALL = 0.85, 1.15
"""Half widths to the blue and to the red over half the full width at half height."""
_FOOT, _FOOT_WIDTH = 0.06, 2.2
"""Height of the exponential feet, and how much wider than the bell they are."""
_WHITE = np.array([1 / 3, 1 / 3])


class KnownLight(BaseModel):
    """One light: a diode or laser by its figures, or any light by its spectrum."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    peak_nm: float | None = Field(default=None, ge=380, le=750)
    dominant_nm: float | None = Field(default=None, ge=400, le=695)
    fwhm_nm: float | None = Field(default=None, gt=0, le=150)
    peak_sd_nm: float = Field(default=PEAK_SD_NM, gt=0, le=30)
    spectrum: str | None = None

    @model_validator(mode="after")
    def _one_of_three(self) -> KnownLight:
        told = [self.peak_nm is not None, self.dominant_nm is not None, self.spectrum is not None]
        if sum(told) != 1:
            raise ValueError("give one of peak_nm, dominant_nm and spectrum")
        if self.spectrum is None and self.fwhm_nm is None:
            raise ValueError("give fwhm_nm as well")
        return self


class _Listed(BaseModel):
    model_config = ConfigDict(extra="forbid")

    light: list[KnownLight] = Field(min_length=1)


def read_lights(path: Path) -> list[KnownLight]:
    """The lights of a TOML file, spectra by paths that can be opened.

    Raises ``CannotReadError`` with every key that is wrong.
    """
    try:
        row = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CannotReadError(f"{path}: is no TOML that can be read ({error}); correct it") from None
    try:
        listed = _Listed.model_validate(row).light
    except ValidationError as error:
        raise CannotReadError(f"{path}: {wrong_keys(error, _Listed)}") from None
    near = path.parent
    return [
        one if one.spectrum is None else one.model_copy(update={"spectrum": str(near / one.spectrum)})
        for one in listed
    ]


def lights_seen(
    lights: Sequence[KnownLight], rgb: Array, about: Mapping[str, Any] | None = None
) -> LightsSeen:
    """The lights with their channel means (m x 3), as ``calibrate`` takes them."""
    sd = [light.peak_sd_nm if light.spectrum is None else _SCALE_SD_NM for light in lights]
    spectra = np.array([_spectrum(light) for light in lights])
    listed = {"listed": [_as_given(light) for light in lights]}
    return LightsSeen(np.asarray(rgb, dtype=float), spectra, np.array(sd), about={**(about or {}), **listed})


def diode(peak_nm: float, fwhm_nm: float) -> Array:
    """The template on the grid, power per nm, 1 at its peak (201,)."""
    away = WAVELENGTH_NM - peak_nm
    half = 0.5 * fwhm_nm * np.where(away < 0, _RISE, _FALL)
    bell = np.exp(-np.log(2.0) * np.square(away / half))
    feet = np.exp(-np.abs(away) / (_FOOT_WIDTH * half))
    return np.asarray((1 - _FOOT) * bell + _FOOT * feet)


def peak_of(dominant_nm: float, fwhm_nm: float) -> float:
    """The peak of the diode whose dominant wavelength, against equal energy, is this one, in nm."""
    from scipy.optimize import brentq

    def off(peak: float) -> float:
        XYZ = diode(peak, fwhm_nm) @ observer(2)
        return float(dominant(XYZ[:2] / XYZ.sum(), _WHITE).dominant_wavelength_nm - dominant_nm)

    low, high = max(385.0, dominant_nm - 40.0), min(745.0, dominant_nm + 40.0)
    if not off(low) < 0.0 < off(high):
        return dominant_nm
    return float(brentq(off, low, high, xtol=0.01))


def _as_given(light: KnownLight) -> dict[str, Any]:
    """A light as its list has it; a spectrum's file by name and hash."""
    row = light.model_dump(exclude_none=True)
    return row if light.spectrum is None else {"spectrum": named(Path(light.spectrum))}


def _spectrum(light: KnownLight) -> Array:
    if light.spectrum is not None:
        measured = read_spectrum(Path(light.spectrum))
        shown = on_grid(measured.wavelength_nm, np.maximum(measured.value, 0.0))
        return np.asarray(shown / shown.max())
    width = light.fwhm_nm or 20.0
    peak = light.peak_nm if light.peak_nm is not None else peak_of(light.dominant_nm or 0.0, width)
    return diode(peak, width)
