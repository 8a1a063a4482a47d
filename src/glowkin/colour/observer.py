"""The CIE standard observers, the spectrum locus, spectra to XYZ, and the white points.

Tables: CIE 018:2019 and CIE 15, in ``data/`` with their header. Wavelengths are in nm (air), spectra are
power per nm. ``degrees`` is 2 (CIE 1931) or 10 (CIE 1964) throughout.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import WrongUseError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from glowkin.base.uncertainty import Array

_RIM_XY = 1e-6
"""On the rim itself a white sees the locus under no angle; the tables are rounded to about this."""

_TABLES = {2: "cie_1931_2deg_1nm.csv", 10: "cie_1964_10deg_1nm.csv"}

WHITE_POINTS_XY: dict[str, tuple[float, float]] = {
    "E": (1 / 3, 1 / 3),
    "D50": (0.34570, 0.35850),
    "D55": (0.33243, 0.34744),
    "D65": (0.31270, 0.32900),
    "A": (0.44758, 0.40745),
    "FL2": (0.37210, 0.37510),
    "FL11": (0.38050, 0.37690),
}
"""Named white points for the 2 degree observer, xy (CIE 15)."""

WHITE_POINTS_XY_10: dict[str, tuple[float, float]] = {
    "E": (1 / 3, 1 / 3),
    "D50": (0.34773, 0.35952),
    "D55": (0.33412, 0.34877),
    "D65": (0.31382, 0.33100),
    "A": (0.45117, 0.40594),
    "FL2": (0.37925, 0.36733),
    "FL11": (0.38541, 0.37123),
}
"""Named white points for the 10 degree observer, xy (CIE 15, as carried by colour-science)."""


@lru_cache(maxsize=4)
def cmfs(degrees: int = 2) -> tuple[Array, Array]:
    """Wavelengths in nm (471,) and colour-matching functions (471, 3), read-only.

    >>> wavelength_nm, xyz_bar = cmfs()
    >>> wavelength_nm[195].item(), xyz_bar[195].round(3).tolist()
    (555.0, [0.512, 1.0, 0.006])
    """
    check_degrees(degrees)
    text = (files("glowkin.colour") / "data" / _TABLES[degrees]).read_text(encoding="ascii")
    table = np.loadtxt(text.splitlines(), delimiter=",", comments="#")
    return _read_only(table[:, 0]), _read_only(table[:, 1:])


@lru_cache(maxsize=4)
def locus_xy(degrees: int = 2) -> tuple[Array, Array]:
    """Wavelengths in nm (471,) and the xy (471, 2) of the spectrum locus, read-only."""
    wavelength_nm, xyz_bar = cmfs(degrees)
    return wavelength_nm, _read_only(xyz_bar[:, :2] / xyz_bar.sum(axis=1, keepdims=True))


def spectrum_to_XYZ(wavelength_nm: ArrayLike, power: ArrayLike, degrees: int = 2) -> Array:
    """Tristimulus values (..., 3) of spectra (..., n) in power per nm on an ascending grid (n,).

    The power is interpolated linearly to whole nanometres, taken as zero off the grid, and summed (CIE 15,
    7.1, without the normalising constant); a grid finer than 1 nm keeps its own points as well, so that a
    narrow line between two whole nanometres is not lost.

    Raises ``WrongUseError`` where the grid does not ascend or does not fit the power.

    >>> spectrum_to_XYZ([500.0, 600.0], [1.0, 1.0]).round(2).tolist()
    [48.48, 81.45, 4.56]
    """
    grid = np.asarray(wavelength_nm, dtype=float)
    values = np.asarray(power, dtype=float)
    _check_grid(grid, values)
    return np.asarray(values @ _weights(grid, degrees))


def _weights(grid: Array, degrees: int) -> Array:
    """What each point of the grid counts in XYZ, (n, 3)."""
    nm, xyz_bar = cmfs(degrees)
    nodes = np.union1d(grid, nm)
    nodes = nodes[(nodes >= max(grid[0], nm[0])) & (nodes <= min(grid[-1], nm[-1]))]
    out = np.zeros((grid.size, 3))
    if nodes.size > 1:
        gap = np.pad(np.diff(nodes), 1, mode="edge")  # so that whole nanometres all weigh 1, as in a sum
        bar = np.column_stack([np.interp(nodes, nm, column) for column in xyz_bar.T])
        bar *= (gap[:-1, np.newaxis] + gap[1:, np.newaxis]) / 2
        left = np.clip(np.searchsorted(grid, nodes, side="right") - 1, 0, grid.size - 2)
        share = ((nodes - grid[left]) / (grid[left + 1] - grid[left]))[:, np.newaxis]
        np.add.at(out, left, (1 - share) * bar)
        np.add.at(out, left + 1, share * bar)
    return out


def _check_grid(grid: Array, power: Array) -> None:
    if grid.ndim != 1 or grid.size < 2 or not np.all(np.diff(grid) > 0):
        raise WrongUseError("The wavelengths of a spectrum must be two or more, each larger than the last.")
    if power.ndim == 0 or power.shape[-1] != grid.size:
        given = power.shape[-1] if power.ndim else 1
        raise WrongUseError(f"A spectrum has {grid.size} wavelengths but {given} values; give one for each.")


def white_point_xy(text: str, degrees: int = 2) -> Array:
    """The xy (2,) of a white point given by name or as ``"x,y"``.

    Raises ``WrongUseError`` for an unknown name and for an xy that no light can have.

    >>> white_point_xy("D65").tolist(), white_point_xy("0.31, 0.33").tolist()
    ([0.3127, 0.329], [0.31, 0.33])
    """
    check_degrees(degrees)
    named = WHITE_POINTS_XY if degrees == 2 else WHITE_POINTS_XY_10
    key = text.strip().upper()
    xy = np.array(named[key] if key in named else _parse_xy(text))
    if not inside_locus(xy, degrees):
        raise WrongUseError(f"White point {text!r} is not inside the spectrum locus; try 0.3127,0.3290.")
    return xy


def _parse_xy(text: str) -> tuple[float, float]:
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        names = ", ".join(WHITE_POINTS_XY)
        raise WrongUseError(
            f"White point {text!r} is not known: give one of {names}, or x,y such as 0.3127,0.3290."
        ) from None
    return x, y


def inside_locus(xy: ArrayLike, degrees: int = 2) -> bool:
    """Whether one xy lies inside the spectrum locus closed by the purple line, and not on its rim.

    >>> inside_locus([0.3127, 0.3290]), inside_locus([0.8, 0.2])
    (True, False)
    """
    to_locus = locus_xy(degrees)[1] - np.asarray(xy, dtype=float)
    if not np.all(np.isfinite(to_locus)) or _distance_to_rim(to_locus) < _RIM_XY:
        return False
    angle = np.unwrap(np.arctan2(to_locus[:, 1], to_locus[:, 0]))
    # Seen from inside, locus and purple line go once round, and the purple line is less than half of it.
    return bool(abs(angle[-1] - angle[0]) > np.pi)


def _distance_to_rim(to_locus: Array) -> float:
    """Distance of the origin from the closed line through these points (n, 2)."""
    edge = np.roll(to_locus, -1, axis=0) - to_locus
    length_squared = np.maximum((edge**2).sum(axis=1), np.finfo(float).tiny)
    share = np.clip(-(to_locus * edge).sum(axis=1) / length_squared, 0, 1)
    return float(np.hypot(*(to_locus + share[:, np.newaxis] * edge).T).min())


def check_degrees(degrees: int) -> None:
    """Raise ``WrongUseError`` unless the observer is the 2 or the 10 degree one."""
    if degrees not in _TABLES:
        raise WrongUseError(f"There is no {degrees} degree observer: give 2 (CIE 1931) or 10 (CIE 1964).")


def _read_only(array: Array) -> Array:
    out = np.ascontiguousarray(array)
    out.setflags(write=False)
    return out
