"""Samples missed and invented on rendered hard scenes of every kind, JPEG and raw.

    python benchmarks/hard_scenes.py [SCENES] [--first SEED] [--kind KIND] [--show FOLDER]

Scored as in ``finder.py``. With --show every scene with a mistake is drawn, outlines on it.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np

from finder import development, score
from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.light.preview import preview
from glowkin.samples.find import find_samples
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.hard import HARD
from glowkin.scene.render import photograph


def draw(path, photo, frame, found, truths):
    """The reduced picture with true outlines in white and found ones in magenta."""
    picture = cv2.cvtColor(preview(photo, frame), cv2.COLOR_RGB2BGR)
    for outlines, colour in (
        ([t.outline_px for t in truths], (255, 255, 255)),
        ([f.outline_px for f in found], (255, 0, 255)),
    ):
        corners = [np.round((np.array(o) + 0.5) / frame.scale_px - 0.5).astype(np.int32) for o in outlines]
        cv2.polylines(picture, corners, True, colour, 1)
    cv2.imwrite(str(path), picture)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("scenes", type=int, nargs="?", default=300)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--kind", choices=sorted(HARD))
    parser.add_argument("--show", type=Path)
    options = parser.parse_args()
    kinds = [options.kind] if options.kind else list(HARD)
    camera, tally = default_camera(), defaultdict(lambda: [0, 0, 0, []])
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.scenes):
            rng = np.random.default_rng(seed)
            kind, raw = kinds[seed % len(kinds)], seed // len(kinds) % 2
            shot = photograph(HARD[kind](rng), camera, rng)
            path = Path(folder) / ("shot.dng" if raw else "shot.jpg")
            write_dng(shot, path) if raw else write_jpeg(shot, path, development(rng))
            photo = open_photo(path)
            frame = reduced(photo)
            found = find_samples(frame).samples
            lost, false, hits = score(found, shot.truths, photo.size_px)
            for name in (kind, "all"):
                row = tally[name]
                row[0], row[1], row[2] = row[0] + len(shot.truths), row[1] + len(lost), row[2] + len(false)
                row[3] += hits
            if lost or false:
                print(f"{kind} {seed}{path.suffix}: missed {[t.name for t in lost]}", end=" ")
                print(f"invented {[tuple(round(c) for c in f.centre_px) for f in false]}")
                if options.show:
                    options.show.mkdir(exist_ok=True)
                    draw(options.show / f"{kind}-{seed}{path.suffix}.png", photo, frame, found, shot.truths)
    for name, (total, missed, invented, overlaps) in tally.items():
        low, middle = np.quantile(overlaps, (0.1, 0.5)) if overlaps else (np.nan, np.nan)
        print(
            f"{name:14} {total:5} samples: missed {missed:4} ({missed / max(total, 1):6.1%}), "
            f"invented {invented:4}, overlap median {middle:.2f}, p10 {low:.2f}"
        )


if __name__ == "__main__":
    main()
