"""What measuring a 24 MP JPEG costs in units of ``cv2.imread`` of it, one thread, in one process.

    python benchmarks/speed.py [RUNS]

Every run reads a copy made unique by a JPEG comment, so that no cache can win; medians of paired runs.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from glowkin.recipes import measure
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import jpeg_bytes
from glowkin.scene.render import photograph
from glowkin.scene.stage import random_scene


def unique(data: bytes, i: int) -> bytes:
    """The same JPEG with another comment."""
    text = f"run {i}".encode()
    return data[:2] + b"\xff\xfe" + (len(text) + 2).to_bytes(2, "big") + text + data[2:]


def seconds(work, path):
    start = time.perf_counter()
    work(path)
    return time.perf_counter() - start


def main():
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    cv2.setNumThreads(1)
    rng = np.random.default_rng(0)
    shot = photograph(random_scene(rng, 12, size_px=(6000, 4000)), default_camera(), rng)
    data = jpeg_bytes(shot)
    pairs = []
    with tempfile.TemporaryDirectory() as folder:
        for i in range(runs + 2):
            paths = [Path(folder) / f"{i}-{kind}.jpg" for kind in ("imread", "measure")]
            for path in paths:
                path.write_bytes(unique(data, 2 * i + (path is paths[1])))
            pairs.append((seconds(lambda p: cv2.imread(str(p)), paths[0]), seconds(measure, paths[1])))
            for path in paths:
                path.unlink()
    times = np.array(pairs[2:])
    ratio = np.median(times[:, 1] / times[:, 0])
    imread, whole = 1000 * np.median(times, axis=0)
    print(f"24 MP JPEG of {len(data) / 1e6:.1f} MB, {runs} pairs: medians")
    print(f"imread {imread:.0f} ms, measure {whole:.0f} ms, ratio of pairs {ratio:.2f}")


if __name__ == "__main__":
    main()
