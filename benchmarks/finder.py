"""Samples missed and invented on rendered dark scenes of 2 to 20 samples, JPEG and raw.

    python benchmarks/finder.py [SCENES] [--ratio 10] [--show]

A sample is found when one outline's centre lies in the true outline and each holds most of the other.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import cv2
import numpy as np

from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.samples.find import find_samples
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.stage import random_scene


def mask(outline, size):
    out = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(out, [np.round(np.asarray(outline)).astype(np.int32)], 1)
    return out


def score(found, truths, size):
    """Missed truths, invented outlines, and the overlap of each match."""
    masks = [mask(f.outline_px, size) for f in found]
    used, overlaps, missed = set(), [], []
    for truth in truths:
        true = mask(truth.outline_px, size)
        best, overlap = None, 0.0
        for i, m in enumerate(masks):
            inside = np.count_nonzero(m & true) / max(np.count_nonzero(m), 1)
            union = np.count_nonzero(m & true) / np.count_nonzero(m | true)
            if i not in used and inside > 0.8 and union > overlap:
                best, overlap = i, union
        if best is None or overlap < 0.3:
            missed.append(truth)
        else:
            used.add(best)
            overlaps.append(overlap)
    return missed, [f for i, f in enumerate(found) if i not in used], overlaps


def development(rng):
    """As cameras and phones develop: any subsampling, some tone curve, white balance a little off."""
    return Development(
        subsampling=str(rng.choice(["4:4:4", "4:2:2", "4:2:0"])),
        quality=int(rng.integers(80, 98)),
        tone=float(rng.uniform(0, 0.6)),
        white_balance_error=(float(rng.uniform(0.9, 1.1)), float(rng.uniform(0.9, 1.1))),
    )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("scenes", type=int, nargs="?", default=200)
    parser.add_argument("--ratio", type=float, default=10)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    camera = default_camera()
    total = missed = invented = 0
    overlaps = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.scenes):
            rng = np.random.default_rng(seed)
            n = int(rng.integers(2, 21))
            shot = photograph(random_scene(rng, n, brightness_ratio=options.ratio), camera, rng)
            path = Path(folder) / ("shot.dng" if seed % 2 else "shot.jpg")
            write_dng(shot, path) if seed % 2 else write_jpeg(shot, path, development(rng))
            photo = open_photo(path)
            lost, false, hits = score(find_samples(reduced(photo)).samples, shot.truths, photo.size_px)
            total += len(shot.truths)
            missed += len(lost)
            invented += len(false)
            overlaps += hits
            if lost or false:
                print(f"scene {seed} ({path.suffix}, {n} samples): missed {[t.name for t in lost]}", end=" ")
                print(f"invented {[tuple(round(c) for c in f.centre_px) for f in false]}")
    print(f"{total} samples: missed {missed} ({missed / total:.2%}), invented {invented}")
    low, middle = np.quantile(overlaps, (0.1, 0.5))
    print(f"overlap with the true outline: median {middle:.3f}, p10 {low:.3f}")


if __name__ == "__main__":
    main()
