"""Where a change begins: at the rim, in the middle, at one side, in spots, or evenly; tested against noise.

A photograph near half conversion is cut into patches. What their fractions seem to differ by where nothing
has changed yet, or all has, is no pattern of the change (stray light, the lens, glare): it is taken off, as a
smooth function of depth and position, and the scatter that is left there says what noise makes of a patch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.maps import AT_ONE_SIDE, AT_RIM, CANNOT_TELL, EVENLY, IN_MIDDLE, IN_SPOTS, MapFound
from glowkin.base.uncertainty import Z95
from glowkin.findings.maps import LEAST_LIGHT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.findings.maps import Unmixed

HALF_WAY = (0.2, 0.8)
ENDS = 0.1
"""A sample with this much of either form or less counts as evenly in the other."""
_ACROSS = 12
"""Patches along the longer side."""
_FEWEST = 20
_ALIKE_PX = {"raw": 4, "rendered": 16}
"""Pixels whose noise is alike: demosaicing; blocks of subsampled colour (ITU-T T.81)."""
_UNEVEN = 0.05
"""Standard deviation of the fraction from place to place below which a change is called even."""
_SHARE = 0.5
"""Share of a pattern's variance that depth, or side, must explain to be named."""
_DRAWS = 2000


@dataclass(frozen=True, eq=False)
class Patches:
    """Fractions (n,) of patches, their noise ``variance`` (n,), ``depth`` (0 at the outline, 1 deepest), and
    place ``x``, ``y`` (from -1 to 1).
    """

    fraction: Array
    variance: Array
    depth: Array
    x: Array
    y: Array

    def basis(self) -> Array:
        """Smooth functions of depth and position (n x 5)."""
        one = np.ones_like(self.depth)
        return np.stack([one, self.depth, self.depth**2, self.x, self.y], axis=1)


@dataclass(frozen=True, eq=False)
class Seen:
    """One photograph of the sample: its pixels' light, its outline's pixels, and how far it has come."""

    pixels: Unmixed
    inside: NDArray[np.bool_]
    pixel_px: int
    fraction: float
    path: str
    time_s: float


def begins(seen: Sequence[Seen], kind: str, by_light: bool) -> MapFound:
    """Where the change begins, from photographs of one sample (``kind``: raw or rendered)."""
    between = [s for s in seen if HALF_WAY[0] <= s.fraction <= HALF_WAY[1]]
    ends = [s for s in seen if min(abs(s.fraction), abs(1.0 - s.fraction)) <= ENDS]
    if not between or not ends:
        return MapFound(CANNOT_TELL, by_light)
    middle = min(between, key=lambda s: abs(s.fraction - 0.5))
    here, there = patches(middle, kind), [(s.fraction, patches(s, kind)) for s in ends]
    there = [(fraction, p) for fraction, p in there if len(p.depth) >= _FEWEST]
    if len(here.depth) < _FEWEST or not there:
        return MapFound(CANNOT_TELL, by_light, middle.path, middle.time_s, patches=len(here.depth))
    return _judged(here, _without_apparent(here, there, middle.fraction), middle, by_light)


def patches(seen: Seen, kind: str) -> Patches:
    """The sample in patches larger than what noise correlates."""
    from scipy.ndimage import distance_transform_edt

    inside = np.pad(seen.inside, 1)
    depth = distance_transform_edt(inside)[1:-1, 1:-1]
    height, width = seen.inside.shape
    side = max(-(-_ALIKE_PX[kind] // seen.pixel_px), -(-max(height, width) // _ACROSS), 1)
    row, column = np.mgrid[:height, :width]
    block = (row // side) * (-(-width // side)) + column // side
    known = np.isfinite(seen.pixels.parts).all(axis=-1) & seen.inside
    count = np.bincount(block[known], minlength=block.max() + 1)
    kept = count >= 0.5 * side**2

    def total(values: Array) -> Array:
        return np.asarray(np.bincount(block[known], values[known], minlength=block.max() + 1)[kept])

    a, b = total(seen.pixels.parts[..., 0]), total(seen.pixels.parts[..., 1])
    C = seen.pixels.covariance
    variance = b**2 * total(C[..., 0, 0]) + a**2 * total(C[..., 1, 1]) - 2 * a * b * total(C[..., 0, 1])
    bright = a + b > LEAST_LIGHT * np.sqrt(total(C.sum(axis=(-2, -1))))
    columns = (
        a / (a + b),
        variance / (a + b) ** 4,
        total(depth) / count[kept] / max(float(depth.max()), 1.0),
        total(2.0 * column / max(width - 1, 1) - 1.0) / count[kept],
        total(2.0 * row / max(height - 1, 1) - 1.0) / count[kept],
    )
    return Patches(*(values[bright] for values in columns))


@dataclass(frozen=True, eq=False)
class _Rest:
    """Fractions less their mean and what they only seem to differ by (n,), their noise ``variance`` (n,), and
    ``error`` (n x k), what is uncertain in what was taken off: k independent standard normals.
    """

    r: Array
    variance: Array
    error: Array


def _without_apparent(here: Patches, there: Sequence[tuple[float, Patches]], f: float) -> _Rest:
    """The pattern less what is smooth and seen at the ends too: that of both, mixed as the forms are."""
    starts, stops = ([p for w, p in there if (w > 0.5) == early] for early in (True, False))
    groups = [group for group in (starts, stops) if group]
    more = min(_scatter(p) for _, p in there)  # what is left of a pattern at either end only adds
    shape, errors = np.zeros(4), []
    for weight, group in zip([f, 1.0 - f] if len(groups) == 2 else [1.0], groups, strict=True):
        for p in group:
            fitted, solver = _smooth(p)
            shape += weight / len(group) * fitted[1:]
            errors.append(weight / len(group) * solver[1:] * np.sqrt(more * p.variance))
    basis = here.basis()[:, 1:] - here.basis()[:, 1:].mean(axis=0)
    r = here.fraction - here.fraction.mean() - basis @ shape
    return _Rest(r, more * here.variance, basis @ np.concatenate(errors, axis=1))


def _smooth(p: Patches) -> tuple[Array, Array]:
    """Least-squares coefficients of the basis (5,), and what makes them of the fractions (5 x n)."""
    solver = np.linalg.pinv(p.basis())
    return np.asarray(solver @ p.fraction), np.asarray(solver, dtype=float)


def _scatter(p: Patches) -> float:
    """Variance of patches about what is smooth over that of independent noise, at least 1."""
    rest = p.fraction - p.basis() @ _smooth(p)[0]
    return max(1.0, float((rest**2 / p.variance).sum() / (len(rest) - 5)))


def _judged(p: Patches, rest: _Rest, middle: Seen, by_light: bool) -> MapFound:
    from scipy.stats import chi2, spearmanr

    n, r = len(rest.r), rest.r
    variance = rest.variance + np.square(rest.error).sum(axis=1)
    noise, scatter = float(variance.mean()), float(r @ r) / (n - 1)
    spread = float(np.sqrt(max(scatter - noise, 0.0)))
    # patches that happen to scatter less than their noise do not make the limit sharper
    most = float(np.sqrt(max(scatter, noise) * (n - 1) / chi2.ppf(0.05, n - 1) - noise))
    rho = float(spearmanr(r, p.depth).statistic)
    chance = _chance(rest, p.depth, rho)
    difference, reach = _inner_less_outer(p, rest)
    uneven = spread > _UNEVEN and chi2.sf(float((r**2 / variance).sum()), n - 1) < 1e-3
    if uneven:
        found = _pattern(p, r, spread**2 * (n - 1), rho, chance)
    else:
        found = EVENLY if most <= 2.0 * _UNEVEN else CANNOT_TELL
    return MapFound(
        begins=found,
        by_light=by_light,
        path=middle.path,
        time_s=middle.time_s,
        rank_correlation=rho,
        p_value=chance,
        inner_minus_outer=difference,
        inner_minus_outer_interval=(difference - reach, difference + reach),
        spread=spread,
        spread_at_most=most,
        patches=n,
    )


def _pattern(p: Patches, r: Array, whole: float, rho: float, chance: float) -> str:
    """The name of a pattern that is there: by what explains most of it."""
    one = np.ones_like(r)
    by_depth = _explained(np.stack([one, p.depth, p.depth**2], axis=1), r) / whole
    by_side = _explained(np.stack([one, p.x, p.y], axis=1), r) / whole
    if by_depth >= max(_SHARE, by_side) and chance < 0.01:
        return AT_RIM if rho > 0 else IN_MIDDLE
    return AT_ONE_SIDE if by_side >= _SHARE else IN_SPOTS


def _explained(basis: Array, r: Array) -> float:
    return float(np.sum((basis @ np.linalg.lstsq(basis, r, rcond=None)[0]) ** 2))


def _chance(rest: _Rest, depth: Array, rho: float) -> float:
    """Share of shuffles of the patches, with the error of what was taken off, that correlate as much."""
    from scipy.stats import rankdata

    rng = np.random.default_rng(0)
    shuffled = rng.permuted(np.tile(rest.r, (_DRAWS, 1)), axis=1)
    shuffled += rng.standard_normal((_DRAWS, rest.error.shape[1])) @ rest.error.T
    a, b = rankdata(shuffled, axis=1), rankdata(depth)
    a, b = a - a.mean(), b - b.mean()
    found = a @ b / np.sqrt(np.square(a).sum(axis=1) * (b @ b))
    return float((1 + np.count_nonzero(np.abs(found) >= abs(rho) - 1e-12)) / (_DRAWS + 1))


def _inner_less_outer(p: Patches, rest: _Rest) -> tuple[float, float]:
    """Mean of the deeper half less that of the outer half, and its 95 % half-width."""
    deep = np.argsort(np.argsort(p.depth, kind="stable")) >= len(p.depth) // 2
    c = np.where(deep, 1.0 / deep.sum(), -1.0 / (~deep).sum())
    variance = c**2 @ rest.variance + np.square(c @ rest.error).sum()
    return float(c @ rest.r), Z95 * float(np.sqrt(variance))
