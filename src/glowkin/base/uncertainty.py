"""A value with its own error and the errors it shares with others.

The covariance of a value is ``own + sum over sources of S @ S.T``, where the columns of ``S`` (loadings,
k x r) belong to independent standard normal variables that every value naming the same source has in
common. So the cross-covariance of two values is ``sum over equal sources of S_a @ S_b.T`` and a
difference cancels what is common. Propagation is first order: C_y = J C_x J.T (JCGM 102:2011, 6.2).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from glowkin.base.records import Matrix

Array: TypeAlias = "NDArray[np.float64]"

CHI2_95_2D = 5.991464547107979
"""95 % quantile of chi-square with two degrees of freedom."""
Z95 = 1.959963984540054
"""Standard deviations that a two-sided 95 % interval of a Gaussian reaches."""


@dataclass(frozen=True)
class Uncertain:
    """A vector of k figures with covariance ``own`` (k x k) and ``shared`` loadings (source -> k x r)."""

    value: Array
    own: Array
    shared: Mapping[str, Array] = field(default_factory=dict)

    @property
    def covariance(self) -> Array:
        """Total covariance, k x k."""
        return sum((S @ S.T for S in self.shared.values()), self.own)

    def through(self, value: Array, jacobian: Array) -> Uncertain:
        """The function value at this point, errors carried by its Jacobian (m x k)."""
        J = np.asarray(jacobian, dtype=float)
        shared = {source: J @ S for source, S in self.shared.items()}
        return Uncertain(np.asarray(value, dtype=float), J @ self.own @ J.T, shared)


def cross_covariance(a: Uncertain, b: Uncertain) -> Array:
    """Covariance between two values, k_a x k_b: the sources both name, column by column."""
    zero = np.zeros((a.value.size, b.value.size))
    pairs = [(a.shared[s], b.shared[s]) for s in sorted(set(a.shared) & set(b.shared))]
    return sum((S_a[:, : S_b.shape[1]] @ S_b[:, : S_a.shape[1]].T for S_a, S_b in pairs), zero)


def difference(a: Uncertain, b: Uncertain) -> Uncertain:
    """Return ``a - b``; shared errors cancel as far as their loadings agree."""
    sources = {*a.shared, *b.shared}
    none = np.zeros((a.value.size, 0))
    shared = {s: _minus(a.shared.get(s, none), b.shared.get(s, none)) for s in sources}
    return Uncertain(a.value - b.value, a.own + b.own, shared)


def _minus(S_a: Array, S_b: Array) -> Array:
    """Loadings of a difference; the shorter one is padded with zero columns."""
    width = max(S_a.shape[1], S_b.shape[1])
    pad_a, pad_b = (np.pad(S, ((0, 0), (0, width - S.shape[1]))) for S in (S_a, S_b))
    return np.asarray(pad_a - pad_b)


def joint_draws(values: Sequence[Uncertain], n: int, seed: int = 0) -> list[Array]:
    """Draw n outcomes of each value (JCGM 101:2008), n x k, the shared errors drawn once for all."""
    rng = np.random.default_rng(seed)
    widths: dict[str, int] = {}
    for value in values:
        for source, S in value.shared.items():
            widths[source] = max(widths.get(source, 0), S.shape[1])
    common = {source: rng.standard_normal((n, width)) for source, width in sorted(widths.items())}
    return [_draws(value, common, n, rng) for value in values]


def _draws(value: Uncertain, common: Mapping[str, Array], n: int, rng: Any) -> Array:
    out = value.value + rng.standard_normal((n, value.value.size)) @ square_root(value.own).T
    for source, S in value.shared.items():
        out = out + common[source][:, : S.shape[1]] @ S.T
    return np.asarray(out)


def square_root(covariance: Array) -> Array:
    """A matrix R with R @ R.T equal to the covariance, also where it is singular."""
    eigenvalues, vectors = np.linalg.eigh(np.asarray(covariance, dtype=float))
    return np.asarray(vectors * np.sqrt(np.clip(eigenvalues, 0.0, None)))


def ellipse_95(covariance: Array) -> tuple[float, float, float]:
    """Semi-axes (major, minor) of the 95 % ellipse and the angle of the major one in degrees."""
    eigenvalues, vectors = np.linalg.eigh(np.asarray(covariance, dtype=float))
    minor, major = np.sqrt(CHI2_95_2D * np.clip(eigenvalues, 0.0, None))
    return float(major), float(minor), float(np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1])))


def interval_95(draws: Array) -> tuple[float, float]:
    """The probabilistically symmetric 95 % interval of draws (JCGM 101:2008, 7.7)."""
    low, high = np.quantile(draws, (0.025, 0.975))
    return float(low), float(high)


def matrix(array: Array) -> Matrix:
    """An array of two dimensions in plain numbers, row by row, as records keep it."""
    return tuple(tuple(float(v) for v in row) for row in array)


def t95(dof: float) -> float:
    """Student's t for a two-sided 95 % interval."""
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.975))
