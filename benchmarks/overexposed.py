"""Whether every sample that the sensor clipped is flagged, and no other, in overexposed scenes; and whether
95 % regions hold the true colours of clipped ones.

    python benchmarks/overexposed.py [SCENES] [--first SEED]

The sensor knows: a sample is clipped where more than a hundredth of its pixels reached full scale, of a
JPEG also after the gains of white balance; with none at all it is not. In between either answer is right.

Emissions are those of ``emitters.py``. Regions are told by how much of a sample is clipped, and apart for
those whose clipped channels were taken as bounds.
"""

from __future__ import annotations

import argparse
import tempfile
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

import emitters
from finder import development
from glowkin.base.settings import Settings
from glowkin.base.uncertainty import CHI2_95_2D, ellipse_95
from glowkin.camera.grid import WAVELENGTH_NM as NM
from glowkin.recipes import measure
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import demosaiced, white_balance_gains, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.spectra import WAVELENGTH_NM
from glowkin.scene.stage import random_scene


def clipped_shares(shot, gains):
    """Share of each sample's pixels whose highest channel, after the gains, is at the top."""
    c = shot.camera
    rgb = demosaiced((shot.codes.astype(np.float32) - c.black) / (c.white - c.black), c.cfa_index)
    top = (rgb * gains.astype(np.float32)).max(axis=2) >= 0.995
    for truth in shot.truths:
        mask = np.zeros(top.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(truth.outline_px).astype(np.int32)], 1)
        inner = cv2.erode(mask, np.ones((15, 15), np.uint8)) == 1
        yield float(top[inner].mean()) if inner.any() else 0.0


def colour_row(sample, truth):
    """Share clipped, whether from bounds, whether a colour is told, error, covered, semi-axis."""
    bounds = bool(sample.clipped_channels)
    if sample.u_prime is None:
        return sample.clipped_fraction, bounds, False, np.nan, np.nan, np.nan
    error = np.array([sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime])
    C = np.array(sample.u_prime_v_prime_covariance)
    covered = error @ np.linalg.solve(C, error) < CHI2_95_2D
    return sample.clipped_fraction, bounds, True, np.hypot(*error), covered, ellipse_95(C)[0]


def report(rows):
    """Errors and coverage by the share that is clipped."""
    share, bounds, told = rows[:, 0], rows[:, 1] == 1, rows[:, 2] == 1
    edges = (0.0, 0.001, 0.1, 0.5, 0.8, 0.9, 0.97, 0.999, 1.0)
    groups = {"none clipped": share == 0}
    for low, high in pairwise(edges):
        groups[f"{low:.3f} to {high:.3f}"] = (share > low) & (share <= high) & ~bounds
    groups["from bounds"] = bounds
    for name, mine in groups.items():
        error, covered, axis = rows[mine & told, 3:].T
        if error.size:
            median, far = np.quantile(error, (0.5, 0.9))
            print(
                f"  {name:15} {mine.sum():4d}, told {told[mine].mean():.2f}: error {median:.4f} / {far:.4f}, "
                f"covered {covered.mean():.3f}, semi-axis {np.median(axis):.3f}"
            )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("scenes", type=int, nargs="?", default=40)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    camera = default_camera()
    rows = {kind: np.zeros(4, int) for kind in ("raw", "JPEG")}
    colours = {kind: [] for kind in rows}
    E, _ = emitters.made(np.random.default_rng(11), 80)
    on_scale = [np.interp(WAVELENGTH_NM, NM, spectrum, right=0.0) for spectrum in E]
    shelf = {str(i): spectrum / spectrum.sum() for i, spectrum in enumerate(on_scale)}
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.scenes):
            rng = np.random.default_rng(seed)
            scene = random_scene(rng, int(rng.integers(2, 12)), 10.0, size_px=(900, 600), spectra=shelf)
            shot = photograph(scene, camera, rng, brightest=float(rng.uniform(0.9, 1.95)))
            choice = development(rng)
            gains = white_balance_gains(
                camera, shot.exposure.white_balance_kelvin, choice.white_balance_error
            )
            outlines = tuple(tuple(t.outline_px) for t in shot.truths)
            files = (
                ("raw", write_dng(shot, Path(folder) / "a.dng"), np.ones(3)),
                ("JPEG", write_jpeg(shot, Path(folder) / "a.jpg", choice), gains * choice.brighten),
            )
            for kind, path, factor in files:
                found = measure(path, Settings(outlines=outlines)).samples
                colours[kind] += [
                    colour_row(sample, truth) for sample, truth in zip(found, shot.truths, strict=True)
                ]
                for sample, share in zip(found, clipped_shares(shot, factor), strict=True):
                    flagged = "clipped" in sample.flags
                    rows[kind] += [share > 0.01, share > 0.01 and flagged, share == 0, share == 0 and flagged]
    for kind, (clipped, told, clean, false) in rows.items():
        print(f"{kind:5} {told} of {clipped} clipped samples flagged; {false} of {clean} others")
        report(np.array(colours[kind]))


if __name__ == "__main__":
    main()
