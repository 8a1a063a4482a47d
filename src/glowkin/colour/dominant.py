"""Dominant and complementary wavelength and excitation purity (CIE 15; terms of CIE S 017).

The ray from the white through a chromaticity is intersected with the spectrum locus, taken as straight
between its whole nanometres, so the wavelength is continuous. Beyond 400 and 695 nm the locus points lie
on top of each other and name no wavelength: there the answer is the bound, and says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.colour.observer import inside_locus, locus_xy

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from glowkin.base.uncertainty import Array

SHORT_BOUND_NM, LONG_BOUND_NM = 400.0, 695.0
_AT_WHITE = 1e-12
"""Distance in xy below which a chromaticity is the white itself: a few roundings of the coordinates."""
_BLOCK = 1 << 15
"""Points worked on at once, so that the intermediate arrays stay in the processor's cache."""


@dataclass(frozen=True)
class Dominant:
    """What a chromaticity looks like against a white; every field has the points' leading shape.

    ``dominant_wavelength_nm`` is NaN on the purple side, where ``complementary_wavelength_nm`` stands
    instead, and that is NaN everywhere else. ``open_bound``: the wavelength is 400 or 695 nm because the
    ray meets the locus beyond. ``excitation_purity`` is the distance from the white over that of the
    boundary (locus or purple line) along the ray, in xy; above 1 outside the diagram.
    """

    dominant_wavelength_nm: Array
    complementary_wavelength_nm: Array
    excitation_purity: Array
    open_bound: NDArray[np.bool_]


def dominant(xy: ArrayLike, white_xy: ArrayLike, degrees: int = 2) -> Dominant:
    """Dominant wavelength, or complementary one, and purity of xy (..., 2) against a white (2,).

    At the white the purity is 0 and both wavelengths are NaN; NaN gives NaN.

    Raises ``WrongUseError`` for a white that is not strictly inside the locus.

    >>> round(dominant([0.170, 0.797], [0.3127, 0.3290]).dominant_wavelength_nm.item())
    532
    """
    points = np.asarray(xy, dtype=float)
    white = np.asarray(white_xy, dtype=float)
    boundary = _boundary(float(white[0]), float(white[1]), degrees)
    rays = points.reshape(-1, 2) - white
    columns = np.empty((4, len(rays)))
    for first in range(0, len(rays), _BLOCK):
        part = slice(first, first + _BLOCK)
        columns[:, part] = _meet(boundary, rays[part, 0], rays[part, 1])
    nm, complementary_nm, purity, open_bound = columns.reshape(4, *points.shape[:-1])
    return Dominant(nm, complementary_nm, purity, open_bound.astype(bool))


@dataclass(frozen=True)
class _Boundary:
    """The diagram's n edges as seen from the white, by the turn from the short end of the locus.

    Edge i runs from the corner (x[i], y[i]), relative to the white, by (dx[i], dy[i]), and from nm[i] by
    dnm[i]; ``side`` is corner cross edge. The last edge is the purple line. ``start``, ``turn`` in rad.
    """

    start: float
    turn: Array
    x: Array
    y: Array
    dx: Array
    dy: Array
    side: Array
    nm: Array
    dnm: Array


@lru_cache(maxsize=32)
def _boundary(white_x: float, white_y: float, degrees: int) -> _Boundary:
    if not inside_locus((white_x, white_y), degrees):
        raise WrongUseError(f"White ({white_x:g}, {white_y:g}) is not inside the spectrum locus.")
    locus_nm, locus = locus_xy(degrees)
    corners = locus - (white_x, white_y)
    seen, start = _corners_in_turn(corners)
    nm, (x, y) = locus_nm[seen], corners[seen].T
    dx, dy = (np.roll(v, -1) - v for v in (x, y))
    # The purple line names no wavelength; its first corner, the long end, keeps its own.
    dnm = np.append(np.diff(nm), 0.0)
    return _Boundary(start, _turn(x, y, start), x, y, dx, dy, x * dy - y * dx, nm, dnm)


def _corners_in_turn(corners: Array) -> tuple[NDArray[np.intp], float]:
    """Which locus points the white sees one after another, and the angle of the first.

    At both ends the locus folds back on itself, by rounding and, at 10 degrees, beyond 700 nm. A point
    that does not lead further round is left out: the edge then spans its neighbours, without a jump.
    From a white within 0.02 of the purple line this also takes points next to 400 nm, worth 1 nm there.
    """
    angle = -np.unwrap(np.arctan2(corners[:, 1], corners[:, 0]))
    first, last = int(np.argmin(angle)), int(np.argmax(angle))
    angle = angle[first : last + 1]
    leads = np.append(True, angle[1:] > np.maximum.accumulate(angle)[:-1])
    x, y = corners[first]
    return first + np.flatnonzero(leads), float(-np.arctan2(y, x))


def _turn(x: Array, y: Array, start: float) -> Array:
    """Angle from the start towards longer wavelengths, rad, 0 to 2 pi."""
    return np.asarray((-np.arctan2(y, x) - start) % (2 * np.pi))


def _meet(b: _Boundary, x: Array, y: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Dominant, complementary wavelength, purity and open bound along rays from the white."""
    at_white = np.hypot(x, y) < _AT_WHITE
    lost = at_white | ~np.isfinite(x) | ~np.isfinite(y)
    x, y = np.where(lost, np.nan, x), np.where(lost, np.nan, y)
    turn = _turn(x, y, b.start)
    edge = _edge(b, turn)
    across = x * b.dy[edge] - y * b.dx[edge]
    purity = np.where(at_white, 0.0, across / b.side[edge])
    nm = _wavelength(b, edge, x, y, across)
    purple = turn > b.turn[-1]
    nm[purple] = _wavelength_opposite(b, turn[purple], x[purple], y[purple])
    open_bound = (nm < SHORT_BOUND_NM) | (nm > LONG_BOUND_NM)
    nm = np.clip(nm, SHORT_BOUND_NM, LONG_BOUND_NM)
    return np.where(purple, np.nan, nm), np.where(purple, nm, np.nan), purity, open_bound


def _edge(b: _Boundary, turn: Array) -> NDArray[np.intp]:
    return np.asarray(np.searchsorted(b.turn, turn, side="right") - 1)


def _wavelength(b: _Boundary, edge: NDArray[np.intp], x: Array, y: Array, across: Array) -> Array:
    """Where on its edge the ray (x, y) meets it, as a wavelength; ``across`` is ray cross edge."""
    return np.asarray(b.nm[edge] + b.dnm[edge] * (b.x[edge] * y - b.y[edge] * x) / across)


def _wavelength_opposite(b: _Boundary, turn: Array, x: Array, y: Array) -> Array:
    edge = _edge(b, (turn + np.pi) % (2 * np.pi))
    return _wavelength(b, edge, -x, -y, y * b.dx[edge] - x * b.dy[edge])
