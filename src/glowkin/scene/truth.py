"""The known answers that travel with a rendered photograph."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Spectrum: TypeAlias = "NDArray[np.float64]"

Pair = tuple[float, float]


@dataclass(frozen=True)
class Colour:
    """A spectrum's CIE colour, 2 degree observer; XYZ in the units of the spectrum's sum."""

    XYZ: tuple[float, float, float]
    xy: Pair
    u_prime: float
    v_prime: float


@dataclass(frozen=True)
class SampleTruth:
    """What one sample in the photograph truly is: the emission alone, no stray light.

    ``outline_px`` is the glowing part's edge; x right, y down, the centre of the top-left pixel is (0, 0).
    ``brightness`` is luminance relative to the brightest sample; ``colour`` is None where nothing glows.
    """

    name: str
    centre_px: Pair
    outline_px: tuple[Pair, ...]
    colour: Colour | None
    brightness: float
    spectrum: Spectrum = field(repr=False, compare=False)

    @property
    def u_prime(self) -> float:
        """CIE 1976 u' of the emission; NaN where nothing glows."""
        return self.colour.u_prime if self.colour else float("nan")

    @property
    def v_prime(self) -> float:
        """CIE 1976 v' of the emission; NaN where nothing glows."""
        return self.colour.v_prime if self.colour else float("nan")


@dataclass(frozen=True)
class ChartTruth:
    """Where the chart lies and what lights it.

    ``corners_px``: outer corners of the 6 x 4 cell grid, the first patch's first, then clockwise along the
    first row. ``reflectances`` (24 x 471) are the patches as photographed, errors of making included.
    """

    corners_px: tuple[Pair, ...]
    cct_kelvin: float
    flare: float
    gradient: Pair
    reflectances: Spectrum = field(repr=False, compare=False)
    illuminant: Spectrum = field(repr=False, compare=False)


def colour_of(spectrum: Spectrum) -> Colour | None:
    """CIE 1931 colour of a spectrum on WAVELENGTH_NM; None for darkness."""
    from glowkin.colour.observer import cmfs

    X, Y, Z = (float(v) for v in np.asarray(spectrum) @ cmfs(2)[1])
    total, denominator = X + Y + Z, X + 15.0 * Y + 3.0 * Z
    if total <= 0.0:
        return None
    return Colour((X, Y, Z), (X / total, Y / total), 4.0 * X / denominator, 9.0 * Y / denominator)


def luminance(spectrum: Spectrum) -> float:
    """Y of a spectrum, 2 degree observer, in the units of its sum."""
    colour = colour_of(spectrum)
    return colour.XYZ[1] if colour else 0.0


def truth_json(truth: Any) -> str:
    """Known answers as JSON text, spectra left out, figures to six digits."""
    rows = [_row(t) for t in truth] if isinstance(truth, tuple | list) else _row(truth)
    return json.dumps(rows, indent=1)


def _row(truth: Any) -> dict[str, Any]:
    row = {k: v for k, v in asdict(truth).items() if not isinstance(v, np.ndarray)}
    return {key: _rounded(value) for key, value in row.items()}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    return [_rounded(v) for v in value] if isinstance(value, tuple | list) else value
