"""Error of a raw file's matrices on single emission bands, by peak: illuminant A, daylight, and as chosen.

    python benchmarks/two_matrices.py ../shared/data/cameras

Sensitivities and matrices as in ``generic_camera.py``; ten bands for every 5 nm, 800 to 3000 cm-1 wide.
"""

from __future__ import annotations

import sys
from itertools import pairwise

import numpy as np

from generic_camera import band, cameras, maker_matrices, observer
from glowkin.camera.emission import Camera
from glowkin.colour.chromaticity import XYZ_to_uv_prime

EDGES = (410, 470, 490, 520, 560, 610, 640, 700)


def main():
    rng, xyz = np.random.default_rng(3), observer()
    peaks = np.repeat(np.arange(410, 700, 5), 10)
    widths = np.exp(rng.uniform(np.log(800), np.log(3000), peaks.size))
    spectra = np.array([band(p, w, rng.uniform(1, 1.3)) for p, w in zip(peaks, widths, strict=True)])
    true = XYZ_to_uv_prime(spectra @ xyz)
    errors = {"A": [], "daylight": [], "chosen": []}
    for S in cameras(sys.argv[1]).values():
        A, daylight = maker_matrices(S, xyz)
        for name, matrices in zip(errors, ((A,), (daylight,), (A, daylight)), strict=True):
            seen = XYZ_to_uv_prime(Camera("", "generic", matrices).XYZ(spectra @ S))
            errors[name].append(np.linalg.norm(seen - true, axis=1))
    for low, high in pairwise(EDGES):
        inside = (peaks >= low) & (peaks < high)
        row = (f"{name} {np.median(np.array(e)[:, inside]):.4f}" for name, e in errors.items())
        print(f"{low}-{high} nm, median error in u'v':", ", ".join(row))


if __name__ == "__main__":
    main()
