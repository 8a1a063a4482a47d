"""Whether every sample that the sensor clipped is flagged, and no other, in overexposed scenes.

    python benchmarks/overexposed.py [SCENES] [--first SEED]

The sensor knows: a sample is clipped where more than a hundredth of its pixels reached full scale, of a
JPEG also after the gains of white balance; with none at all it is not. In between either answer is right.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import cv2
import numpy as np

from finder import development
from glowkin.base.settings import Settings
from glowkin.recipes import measure
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import demosaiced, white_balance_gains, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
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


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("scenes", type=int, nargs="?", default=40)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    camera = default_camera()
    rows = {kind: np.zeros(4, int) for kind in ("raw", "JPEG")}
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.scenes):
            rng = np.random.default_rng(seed)
            scene = random_scene(rng, int(rng.integers(2, 12)), 10.0, size_px=(900, 600))
            shot = photograph(scene, camera, rng, brightest=float(rng.uniform(0.9, 1.9)))
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
                for sample, share in zip(found, clipped_shares(shot, factor), strict=True):
                    flagged = "clipped" in sample.flags
                    rows[kind] += [share > 0.01, share > 0.01 and flagged, share == 0, share == 0 and flagged]
    for kind, (clipped, told, clean, false) in rows.items():
        print(f"{kind:5} {told} of {clipped} clipped samples flagged; {false} of {clean} others")


if __name__ == "__main__":
    main()
