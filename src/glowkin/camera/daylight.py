"""Lights that a chart is photographed in, and what is known of their colour temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.camera.grid import WAVELENGTH_NM, on_grid
from glowkin.colour.spectrum_file import read_spectrum

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

NAMED = {
    "daylight": (6100.0, 15.0),
    "sun": (5400.0, 9.0),
    "overcast": (6500.0, 10.0),
    "shade": (8000.0, 17.0),
    "tungsten": (2850.0, 20.0),
}
"""Colour temperature in K, and its standard deviation in mired (common practice, no source)."""
D65_KELVIN = 6504.0
"""Correlated colour temperature of illuminant D65 (CIE 15)."""
_STATED_SD = 2.0
_C2_M_K = 1.438776877e-2
_PLANCKIAN_BELOW = 4000.0
"""CIE daylight is defined from 4000 K (CIE 15); warmer light is taken as Planckian."""
_MIRED = np.linspace(1e6 / 25000.0, 1e6 / _PLANCKIAN_BELOW, 106)


@dataclass(frozen=True, eq=False)
class ChartLight:
    """A light of ``mired`` +- ``mired_sd`` (1e6 K / colour temperature), or of a given spectrum (201,)."""

    mired: float
    mired_sd: float
    given: Array | None = None

    @property
    def free(self) -> bool:
        """Whether the colour temperature is fitted."""
        return self.given is None

    def spectrum(self, mired: float) -> Array:
        """Power per nm on the grid, mean 1: CIE daylight, or Planckian light below 4000 K."""
        if self.given is not None:
            return self.given
        if mired > _MIRED[-1]:
            return planck(1e6 / mired)
        table = _daylights()
        k = int(np.clip(np.searchsorted(_MIRED, mired) - 1, 0, len(_MIRED) - 2))
        share = (mired - _MIRED[k]) / (_MIRED[k + 1] - _MIRED[k])
        return np.asarray((1 - share) * table[k] + share * table[k + 1])


def chart_light(text: str) -> ChartLight:
    """A light by name (``daylight``, ``sun``, ``overcast``, ``shade``, ``tungsten``, ``D65``), by colour
    temperature (``5500K``), or from a file of ``wavelength_nm,power``.

    Raises ``WrongUseError`` for what is none of these.

    >>> round(1e6 / chart_light("5500K").mired)
    5500
    """
    key = text.strip()
    if key.lower() in NAMED:
        kelvin, sd = NAMED[key.lower()]
        return ChartLight(1e6 / kelvin, sd)
    if key.upper() == "D65":
        return ChartLight(1e6 / D65_KELVIN, _STATED_SD)
    if key[-1:].upper() == "K" and key[:-1].replace(".", "", 1).isdigit():
        kelvin = float(key[:-1])
        if not 1500.0 <= kelvin <= 25000.0:
            raise WrongUseError(f"--chart-light {text}: give a colour temperature of 1500 to 25000 K")
        return ChartLight(1e6 / kelvin, _STATED_SD)
    if Path(key).suffix and Path(key).is_file():
        measured = read_spectrum(Path(key))
        power = on_grid(measured.wavelength_nm, measured.value)
        return ChartLight(1e6 / D65_KELVIN, _STATED_SD, power / power.mean())
    names = ", ".join(NAMED)
    raise WrongUseError(
        f"--chart-light {text!r} is not known: give one of {names}, D65, a colour temperature such as "
        "5500K, or a file of wavelength_nm,power"
    )


def planck(kelvin: float) -> Array:
    """A Planckian radiator on the grid, mean 1; c2 from the exact constants of the SI (CODATA)."""
    metres = WAVELENGTH_NM * 1e-9
    power = metres**-5 / np.expm1(_C2_M_K / (metres * kelvin))
    return np.asarray(power / power.mean())


@lru_cache(maxsize=1)
def _daylights() -> Array:
    """CIE daylight on the grid for each of ``_MIRED``, mean 1 (by colour-science)."""
    import colour

    shape = colour.SpectralShape(WAVELENGTH_NM[0], WAVELENGTH_NM[-1], WAVELENGTH_NM[1] - WAVELENGTH_NM[0])
    rows = []
    for mired in _MIRED:
        xy = colour.temperature.CCT_to_xy_CIE_D(float(np.clip(1e6 / mired, 4000.0, 25000.0)))
        power = colour.sd_CIE_illuminant_D_series(xy).align(shape).values
        rows.append(power / power.mean())
    return np.array(rows)
