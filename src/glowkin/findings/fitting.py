"""Least squares on small problems, many at once, with standard errors and profile intervals.

Residuals are a function of a batch: parameters (k, p) to weighted residuals (k, m). A batch shares the
cost of every call, so that a whole profile is one descent. The scale of the residuals is unknown, as in
ordinary regression: variances are multiplied by RSS / dof.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

    Residuals = Callable[[Array], Array]

Interval = tuple[float | None, float | None]

_AT_ONCE = 100_000
"""Residuals of a batch that are worked out at once; a few megabytes."""

# Distances, in standard errors, at which a profile is looked at: fine where it usually crosses the
# threshold, then ever wider for profiles that are far from a parabola.
_STEPS = np.array([0.6, 1.1, 1.5, 1.8, 2.1, 2.5, 3.2, 4.5, 8.0, 16.0, 40.0, 120.0])


@dataclass(frozen=True)
class Bounds:
    """Box of the parameters, (p,) or one for each problem (k, p); ``scale`` (p,) sizes a notable change."""

    lower: Array
    upper: Array
    scale: Array

    def of(self, index: NDArray[np.int64]) -> Bounds:
        """The box of these problems only."""
        if self.lower.ndim == 1:
            return self
        return Bounds(self.lower[index], self.upper[index], self.scale)


@dataclass(frozen=True)
class Fit:
    """Parameters (p,) with covariance (p, p), residual sum of squares and degrees of freedom."""

    values: Array
    covariance: Array
    rss: float
    dof: int

    @property
    def standard_errors(self) -> Array:
        """Square roots of the diagonal of the covariance, (p,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def fit(residuals: Residuals, starts: Array, bounds: Bounds | None = None, projected: int = 0) -> Fit:
    """Best fit from one or several starts, (p,) or (k, p).

    ``projected`` counts the linear parameters already solved for inside ``residuals`` (variable
    projection: Golub & Pereyra 1973); they lower the degrees of freedom.
    """
    starts = np.atleast_2d(np.asarray(starts, dtype=float))
    box = bounds or _free(starts)
    values, rss = minimise(residuals, starts, box)
    best = values[np.argmin(rss)]
    J = jacobian(residuals, best[None], box)[0]
    dof = J.shape[0] - J.shape[1] - projected
    variance = rss.min() / dof if dof > 0 else np.nan
    return Fit(best, variance * _inverse(J, box.scale), float(rss.min()), dof)


def squares(residuals: Residuals, grid: Array, n_data: int) -> Array:
    """RSS (k,) over a grid of parameters (k, p), in parts of a hundred thousand residuals."""
    at_once = max(1, _AT_ONCE // max(n_data, 1))
    parts = [_squares(residuals(grid[i : i + at_once])) for i in range(0, len(grid), at_once)]
    return np.concatenate(parts)


def minimise(
    residuals: Residuals, starts: Array, bounds: Bounds, tolerance: float = 1e-14, iterations: int = 60
) -> tuple[Array, Array]:
    """Descend from every start (k, p) at once; returns the ends (k, p) and their RSS (k,).

    Each ends when its RSS falls by less than ``tolerance`` of itself.

    Levenberg-Marquardt with Marquardt's scaling (1963); a parameter at its bound that wants to leave the
    box rests there.
    """
    theta = np.clip(starts, bounds.lower, bounds.upper)
    r = residuals(theta)
    rss, damping = _squares(r), np.full(len(theta), 1e-3)
    going = np.arange(len(theta))
    for _ in range(iterations):
        here, r_here, box = theta[going], r[going], bounds.of(going)
        step = _step(here, r_here, _slopes(residuals, here, r_here, box), damping[going], box)
        trial = np.clip(here + step, box.lower, box.upper)
        r_trial = residuals(trial)
        rss_trial = _squares(r_trial)
        better = rss_trial < rss[going]
        moved = np.any(np.abs(trial - here) > 1e-10 * bounds.scale, axis=1)
        ends = ~moved | (better & (rss[going] - rss_trial <= tolerance * rss_trial))
        gone = going[better]
        theta[gone], r[gone], rss[gone] = trial[better], r_trial[better], rss_trial[better]
        damping[going] = np.clip(np.where(better, damping[going] / 10.0, damping[going] * 8.0), 1e-12, 1e12)
        going = going[~ends]
        if not going.size:
            break
    return theta, rss


def jacobian(residuals: Residuals, theta: Array, bounds: Bounds) -> Array:
    """Central differences, (k, m, p); one-sided at a bound, zero where the box has no width."""
    k, p = theta.shape
    shift = np.eye(p) * (1e-5 * bounds.scale)
    up = np.minimum(theta[:, None, :] + shift, np.broadcast_to(bounds.upper, theta.shape)[:, None, :])
    down = np.maximum(theta[:, None, :] - shift, np.broadcast_to(bounds.lower, theta.shape)[:, None, :])
    r = residuals(np.concatenate([up, down]).reshape(-1, p)).reshape(2, k, p, -1)
    width = np.einsum("kpp->kp", up - down)[..., None]
    slope = np.divide(r[0] - r[1], width, out=np.zeros_like(r[0]), where=width > 0.0)
    return np.swapaxes(slope, 1, 2)


def profile_interval(
    residuals: Residuals, best: Fit, index: int, bounds: Bounds | None = None, level: float = 0.95
) -> Interval:
    """Profile-likelihood interval of one parameter; None on a side where the profile never rises.

    Limit: RSS (1 + F(1, dof) / dof), Bates & Watts, Nonlinear Regression Analysis (1988), 6.1.
    """
    box = bounds or _free(best.values[None])
    limit = rss_limit(best.rss, best.dof, level)
    value = best.values[index]
    at = _profile_points(best, index, box)
    rss = _profile(residuals, best, index, at, box)
    sides = []
    for side in (np.flatnonzero(at < value)[::-1], np.flatnonzero(at > value)):
        points = np.concatenate([[value], at[side]])
        heights = np.concatenate([[best.rss], rss[side]])
        for _ in range(4):
            gap = _widest_gap(points, heights, limit, 0.1 * float(box.scale[index]))
            if not gap.size:
                break
            points, heights = _with_points(points, heights, gap, _profile(residuals, best, index, gap, box))
        sides.append(_crossing(points, heights, limit))
    return sides[0], sides[1]


def rss_limit(rss: float, dof: int, level: float = 0.95) -> float:
    """The RSS a parameter may rise to within its interval; infinite without degrees of freedom."""
    from scipy.special import fdtri

    return float(rss * (1.0 + fdtri(1, dof, level) / dof)) if dof > 0 else np.inf


def aicc(rss: float, n_data: int, n_parameters: int, declared: float = 0.0) -> float:
    """Akaike's criterion for small samples, the unknown variance counted among the parameters.

    n ln(RSS / n) + 2 k + 2 k (k + 1) / (n - k - 1), Burnham & Anderson, Model Selection (2002), 2.4;
    infinite where the data are too few. Residuals below a hundred-thousandth of the noise count as none.

    The variance is the likeliest that is no smaller than ``declared``: where residuals are smaller than
    their errors, n ln(v) + RSS / v - n with the declared v. So neighbouring numbers that scatter less than
    they might are no proof against a model that others follow within their errors.
    """
    k = n_parameters + 1
    if n_data - k - 1 <= 0:
        return np.inf
    mean_square = max(rss / n_data, 1e-10)
    variance = max(mean_square, declared)
    fit = n_data * (np.log(variance) + mean_square / variance - 1.0)
    return float(fit + 2 * k + 2 * k * (k + 1) / (n_data - k - 1))


def _slopes(residuals: Residuals, theta: Array, r: Array, bounds: Bounds) -> Array:
    """One-sided differences (k, m, p), inwards at an upper bound: enough to descend by."""
    k, p = theta.shape
    lower, upper = np.broadcast_to(bounds.lower, (k, p)), np.broadcast_to(bounds.upper, (k, p))
    J = np.zeros((k, r.shape[1], p))
    free = np.flatnonzero((upper > lower).any(axis=0))
    shift = 1e-6 * bounds.scale * np.where(theta + 1e-6 * bounds.scale > upper, -1.0, 1.0)
    moved = np.repeat(theta[None], free.size, axis=0)
    for i, column in enumerate(free):
        moved[i, :, column] += shift[:, column]
    r_moved = residuals(moved.reshape(-1, p)).reshape(free.size, k, -1)
    for i, column in enumerate(free):
        J[:, :, column] = (r_moved[i] - r) / shift[:, column, None]
    return J


def _free(starts: Array) -> Bounds:
    scale = np.max(np.abs(starts), axis=0)
    infinite = np.full(starts.shape[1], np.inf)
    return Bounds(-infinite, infinite, np.where(scale > 0.0, scale, 1.0))


def _inverse(J: Array, scale: Array) -> Array:
    """(J.T J)^-1 on scaled parameters, so that units do not decide what counts as singular."""
    return np.linalg.pinv((J * scale).T @ (J * scale)) * np.outer(scale, scale)


def _squares(r: Array) -> Array:
    return np.asarray(np.einsum("km,km->k", r, r))


def _step(theta: Array, r: Array, J: Array, damping: Array, bounds: Bounds) -> Array:
    """The damped step of every problem, zero for parameters resting at a bound."""
    J = J * bounds.scale
    gradient = np.einsum("kmp,km->kp", J, r)
    resting = ((theta <= bounds.lower) & (gradient > 0.0)) | ((theta >= bounds.upper) & (gradient < 0.0))
    J = np.where(resting[:, None, :], 0.0, J)
    H = np.swapaxes(J, 1, 2) @ J
    diagonal = np.einsum("kpp->kp", H)
    floor = 1e-12 * diagonal.max(axis=1, keepdims=True) + 1e-300
    H = H + np.eye(theta.shape[1]) * (damping[:, None] * diagonal + floor)[:, None, :]
    step = -np.linalg.solve(H, np.where(resting, 0.0, gradient)[..., None])[..., 0]
    return np.where(resting, 0.0, step) * bounds.scale


def _profile_points(best: Fit, index: int, bounds: Bounds) -> Array:
    value, error = best.values[index], float(best.standard_errors[index])
    if not np.isfinite(error) or error <= 0.0:
        error = 1e-3 * float(bounds.scale[index])
    offsets = error * np.concatenate([-_STEPS, _STEPS])
    ends = [bounds.lower[index], bounds.upper[index]]
    inside = np.clip(value + offsets, *ends)
    return np.asarray(np.unique(np.concatenate([inside, [e for e in ends if np.isfinite(e)]])))


def _profile(residuals: Residuals, best: Fit, index: int, at: Array, bounds: Bounds) -> Array:
    """Smallest RSS at each fixed value of one parameter, (k,); a box of zero width pins it."""
    shape = (at.size, best.values.size)
    lower, upper = np.broadcast_to(bounds.lower, shape).copy(), np.broadcast_to(bounds.upper, shape).copy()
    lower[:, index] = upper[:, index] = at
    if shape[1] == 1:
        return _squares(residuals(at[:, None]))
    C = best.covariance
    slope = C[:, index] / C[index, index] if C[index, index] > 0.0 else np.zeros(shape[1])
    along = best.values + (at - best.values[index])[:, None] * slope
    along = np.clip(along, lower, upper)
    stay = np.clip(np.broadcast_to(best.values, shape), lower, upper)
    straight = _squares(residuals(along)) < _squares(residuals(stay))
    starts = np.where(straight[:, None], along, stay)
    return minimise(residuals, starts, Bounds(lower, upper, bounds.scale), tolerance=1e-4, iterations=25)[1]


def _widest_gap(points: Array, rss: Array, limit: float, fine: float) -> Array:
    """Points to add where the profile first exceeds the limit, if its neighbours there lie far apart."""
    over = np.flatnonzero(rss > limit)
    if not over.size or abs(points[over[0]] - points[over[0] - 1]) <= fine:
        return np.empty(0)
    return np.linspace(points[over[0] - 1], points[over[0]], 7)[1:-1]


def _with_points(points: Array, rss: Array, more: Array, more_rss: Array) -> tuple[Array, Array]:
    """Both sets of points, walking outwards from the first."""
    points, rss = np.concatenate([points, more]), np.concatenate([rss, more_rss])
    order = np.argsort(np.abs(points - points[0]))
    return points[order], rss[order]


def _crossing(points: Array, rss: Array, limit: float) -> float | None:
    """Where the profile, walking outwards, first exceeds the limit; its root is nearly straight."""
    over = np.flatnonzero(rss > limit)
    if not over.size:
        return None
    i = over[0] - 1
    z = np.sqrt(np.maximum(rss - rss[0], 0.0))
    share = (np.sqrt(limit - rss[0]) - z[i]) / (z[i + 1] - z[i])
    return float(points[i] + share * (points[i + 1] - points[i]))
