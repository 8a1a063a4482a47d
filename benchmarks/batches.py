"""Intervals of a storage's typical vial where batches differ: coverage and width, with and without batches.

    python benchmarks/batches.py [TIMES]

Logarithms of half-times, Gaussian, vials of a batch scattering by 1; half-widths in units of that.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy.stats import t

from glowkin.findings.storage import typical, typical_by_batch


def half_widths(y, batches):
    """The mean and half-width by batches where they count, and by vials alone."""
    own = np.zeros(len(y))
    mean, variance, _ = typical(y, own)
    plain = mean, t.ppf(0.975, len(y) - 1) * variance**0.5
    found = typical_by_batch(y, own, batches)
    return (plain if found is None else (found[0], t.ppf(0.975, found[4]) * found[1] ** 0.5)), plain


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


if __name__ == "__main__":
    main()
