"""Tabulate how emissions move on the u'v' diagram from the 2 to the 10 degree observer, and check it.

    python benchmarks/ten_degree.py [--write]

Three channels tell no spectrum, so the step is a mean over emission bands of like 2 degree chromaticity, and
its scatter is carried as error. Emissions as in ``generic_camera.py``; checked on families not used.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from generic_camera import CHI2, MARGIN, WL, check_emissions, table_emissions
from glowkin.camera.ten_degree import ObserverStep
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.observer import cmfs

TABLE = Path(__file__).parents[1] / "src/glowkin/camera/data/ten_degree.json"
REACH, SPACING = 0.015, 0.02


def chromaticities(spectra):
    """U'v' for both observers, n x 2 each."""
    both = []
    for degrees in (2, 10):
        wavelength, xyz = cmfs(degrees)
        at = np.stack([np.interp(WL, wavelength, xyz[:, i]) for i in range(3)], axis=1)
        both.append(XYZ_to_uv_prime(spectra @ at))
    return both


def build(uv_2, uv_10):
    step = uv_10 - uv_2
    u, v = np.meshgrid(np.arange(0, 0.64, SPACING), np.arange(0, 0.62, SPACING))
    rows = []
    for node in np.stack([u.ravel(), v.ravel()], axis=1):
        weight = np.exp(-np.square(uv_2 - node).sum(axis=1) / REACH**2)
        if weight.sum() > 4:
            mean = weight @ step / weight.sum()
            rest = step - mean
            M = (weight[:, None, None] * rest[:, :, None] * rest[:, None, :]).sum(0) / weight.sum()
            rows.append([*node, *mean, *(M + 1e-7 * np.eye(2)).ravel()[[0, 1, 3]]])
    return np.array(rows)


def main():
    rng = np.random.default_rng(20260504)
    rows = build(*chromaticities(table_emissions(6000, rng)))
    step = ObserverStep(rows, REACH)
    uv_2, uv_10 = chromaticities(check_emissions(600, rng))
    moved, covariance = step.at(uv_2)
    error = moved - uv_10
    m2 = np.einsum("ni,nij,nj->n", error, np.linalg.inv(covariance), error)
    scale = MARGIN * np.quantile(m2, 0.95) / CHI2
    rows[:, 4:] *= scale
    size = np.linalg.norm(error, axis=1)
    axis = np.sqrt(CHI2 * scale * np.linalg.eigvalsh(covariance)[:, 1])
    print(f"{len(rows)} nodes, moments scaled by {scale:.2f}; error median {np.median(size):.4f}")
    print(f"p90 {np.quantile(size, 0.9):.4f}, median 95 % semi-axis {np.median(axis):.4f}")
    if "--write" in sys.argv:
        document = {
            "source": "benchmarks/ten_degree.py, CIE 1931 and 1964 observers over 6000 emission spectra; "
            "u'v' of the node, mean step, then u'u', u'v', v'v' moments of its scatter",
            "reach": REACH,
            "nodes": [[round(float(x), 7) for x in row] for row in rows],
        }
        TABLE.write_text(json.dumps(document).replace("], [", "],\n["), "utf-8")


if __name__ == "__main__":
    main()
