"""What is typical of vials, and of batches of them; and two storages compared within the batches they share.

Vials of one batch in both storages form a block (randomised blocks, as in textbooks of the design of
experiments). The difference of the two storages is taken in each batch; how far these differences scatter
about their mean, beyond what vials explain, is how differently batches take to storages.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array

_POOLED = 0.25

Vials = tuple["Array", "Array", "Sequence[str]"]
"""Values (n,), their own variances (n,) and batches of one storage's vials."""


def between_variance(y: Array, own: Array) -> float:
    """Variance between vials of values y (n,) with own variances (n,), by Paule & Mandel's condition: the
    squares of the deviations, weighted by both variances, add up to n - 1; 0 where they fall short of it.
    """
    from scipy.optimize import brentq

    def excess(between: float) -> float:
        w = 1.0 / np.maximum(own + between, 1e-300)
        return float(np.sum(w * (y - np.sum(w * y) / np.sum(w)) ** 2)) - (len(y) - 1)

    most = float(np.var(y, ddof=1))
    if most <= 0.0 or (own.min() > 0.0 and excess(0.0) <= 0.0):
        return 0.0
    return float(brentq(excess, 0.0 if own.min() > 0.0 else 1e-9 * most, 2.0 * most + 1e-12))


def typical(y: Array, own: Array) -> tuple[float, float, float]:
    """Mean of the population that values y (n >= 2) with own variances come from; its variance; and between.

    The interval takes Student's t with n - 1 degrees of freedom. With this estimate of the variance between
    vials, Hartung & Knapp's variance of the mean, kept from falling below that of the values' own errors,
    is the inverse sum of weights.
    """
    between = between_variance(y, own)
    w = 1.0 / np.maximum(own + between, 1e-300)
    return float(np.sum(w * y) / np.sum(w)), float(1.0 / np.sum(w)), between


def typical_by_batch(
    y: Array, own: Array, batches: Sequence[str]
) -> tuple[float, float, float, float, int] | None:
    """Mean over batches of values y (n,), its variance, the variance between vials of a batch beyond their
    own errors, that between batches beyond what their vials explain, and degrees of freedom.

    One-way random effects: the variance within batches is pooled, batch means are then treated as ``typical``
    treats values, so that of balanced batches it is the analysis of variance. None where batches are not told
    of all, there is no second vial in any, or an F test does not tell them apart at 25 %, the level at which
    to pool or not to pool costs least (Bozivich, Bancroft & Hartley, Ann. Math. Stat. 27, 1017, 1956; from
    memory).
    """
    from scipy.special import fdtrc

    groups = [np.array([b == name for b in batches]) for name in dict.fromkeys(batches)]
    dof = len(y) - len(groups)
    if "" in batches or len(groups) < 2 or dof < 1:
        return None
    within = sum(float(np.var(y[g])) * int(g.sum()) for g in groups) / dof
    within = max(within, float(own.mean()))
    means, errors = np.array([y[g].mean() for g in groups]), np.array([within / g.sum() for g in groups])
    mean, variance, between = typical(means, errors)
    squares = float(np.sum((means - np.average(means, weights=1.0 / errors)) ** 2 / errors))
    if between <= 0.0 or fdtrc(len(groups) - 1, dof, squares / (len(groups) - 1)) > _POOLED:
        return None
    return mean, variance, max(0.0, within - float(own.mean())), between, len(groups) - 1


def within_batches(a: Vials, b: Vials) -> tuple[float, float, int] | None:
    """Mean difference a - b over the batches, its variance and degrees of freedom.

    Where the differences scatter by no more than vials explain, their scatter is pooled with that of vials,
    as blocks without an interaction are analysed; else they are treated as ``typical`` treats values. None
    unless both hold the same batches, two or more.
    """
    names = list(dict.fromkeys(a[2]))
    if "" in names or len(names) < 2 or set(names) != set(b[2]):
        return None
    cells = [[_cell(vials, name) for name in names] for vials in (a, b)]
    d = np.array([p.mean() - q.mean() for p, q in zip(*cells, strict=True)])
    share = np.array([1.0 / len(p) + 1.0 / len(q) for p, q in zip(*cells, strict=True)])
    free, dof = sum(len(y) - 1 for row in cells for y in row), len(names) - 1
    own = float(np.concatenate([a[1], b[1]]).mean())
    squares = sum(float(np.var(y)) * len(y) for row in cells for y in row)
    within = max(squares / free, own) if free else own
    between = between_variance(d, within * share)
    if between > 0.0 or not free:
        w = 1.0 / np.maximum(within * share + between, 1e-300)
        return float(w @ d / w.sum()), float(1.0 / w.sum()), dof
    w = 1.0 / share
    mean = float(w @ d / w.sum())
    pooled = max((squares + float(w @ (d - mean) ** 2)) / (free + dof), own)
    return mean, float(pooled / w.sum()), free + dof


def _cell(vials: Vials, batch: str) -> Array:
    return np.asarray(vials[0][[name == batch for name in vials[2]]])
