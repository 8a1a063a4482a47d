"""Intervals of a storage's typical vial where batches differ, and of the ratio of two storages that hold the
same batches: coverage and width, with and without batches.

    python benchmarks/batches.py [TIMES]

Logarithms of half-times, Gaussian, vials of a batch scattering by 1; half-widths in units of that.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy.stats import t

from glowkin.findings.batches import typical, typical_by_batch, within_batches


def half_widths(y, batches):
    """The mean and half-width by batches where they count, and by vials alone."""
    own = np.zeros(len(y))
    mean, variance, _ = typical(y, own)
    plain = mean, t.ppf(0.975, len(y) - 1) * variance**0.5
    found = typical_by_batch(y, own, batches)
    return (plain if found is None else (found[0], t.ppf(0.975, found[4]) * found[1] ** 0.5)), plain


def ratio_half_widths(a, b, batches):
    """Mean difference of two storages and its half-width: within batches, and as if of other batches."""
    own = np.zeros(len(a))
    mean, variance, dof = within_batches((a, own, batches), (b, own, batches))
    told = []
    for y in (a, b):
        found = typical_by_batch(y, own, batches)
        told.append((*typical(y, own)[:2], len(y) - 1) if found is None else (*found[:2], found[4]))
    (m, v, n), (w, u, k) = told
    welch = (v + u) ** 2 / (v**2 / n + u**2 / k)
    return (mean, t.ppf(0.975, dof) * variance**0.5), (m - w, t.ppf(0.975, welch) * (v + u) ** 0.5)


def ratios(times, rng):
    """``turned``: how much batches differ in what storages do to them, in units of the vials' scatter."""
    for batches, vials in ((2, 1), (2, 2), (2, 3), (3, 1), (3, 2), (3, 3)):
        names = np.repeat(list("ABC")[:batches], vials).tolist()
        for scatter, turned in ((0.0, 0.0), (2.0, 0.0), (2.0, 0.7)):
            told = []
            for _ in range(times):
                block = scatter * rng.standard_normal((batches, 1))
                own = turned * rng.standard_normal((2, batches, 1))
                a, b = block + own + rng.standard_normal((2, batches, vials))
                told.append(ratio_half_widths(a.ravel(), b.ravel(), names))
            told = np.array(told)
            held = np.mean(np.abs(told[..., 0]) <= told[..., 1], axis=0)
            width = np.median(told[..., 1], axis=0)
            print(
                f"ratio, {batches} batches of {vials} in both, scatter {scatter:.1f}, turned {turned:.1f}: "
                f"within batches {held[0]:.3f} held, half-width {width[0]:.2f}; as of others {held[1]:.3f}, "
                f"{width[1]:.2f}"
            )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("times", type=int, nargs="?", default=1000)
    times = parser.parse_args().times
    rng = np.random.default_rng(1)
    for batches, vials in ((2, 2), (2, 3), (3, 2), (3, 3), (4, 2)):
        for scatter in (0.0, 0.5, 1.0, 2.0):
            names = np.repeat(list("ABCD")[:batches], vials).tolist()
            drawn = rng.standard_normal((times, batches, vials))
            drawn += scatter * rng.standard_normal((times, batches, 1))
            told = np.array([half_widths(y.ravel(), names) for y in drawn])
            held, width = (
                np.mean(np.abs(told[..., 0]) <= told[..., 1], axis=0),
                np.median(told[..., 1], axis=0),
            )
            print(
                f"{batches} batches of {vials}, scatter {scatter:.1f}: by batches {held[0]:.3f} held, "
                f"half-width {width[0]:.2f}; by vials alone {held[1]:.3f}, {width[1]:.2f}"
            )
    ratios(times, rng)


if __name__ == "__main__":
    main()
