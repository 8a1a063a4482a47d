"""What ``glowkin track`` takes of the memory for few and for many photographs: the command and its workers.

    python benchmarks/memory.py [FEW MANY [WIDTH]] [--out]      100 and 1000; 1000 and 10000 take an hour

The photographs are copies of one rendered JPEG of 1 MP (or as wide as told, in less time: the share of each
photograph then counts for more), ten minutes apart by their Exif time. Memory is the
proportional share (Pss) of the process and its workers, added up five times a second; Linux only. With
``--out`` the folder of results is written, report and figures with it; else the document is printed.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import jpeg_bytes
from glowkin.scene.render import photograph
from glowkin.scene.stage import two_reds_and_green

WIDTH = 1224


def photographs(folder: Path, number: int, width: int) -> None:
    """So many copies of one photograph, each of its own time."""
    shot = photograph(two_reds_and_green((width, width * 2 // 3)), default_camera(), np.random.default_rng(1))
    data, zero = jpeg_bytes(shot), shot.exposure.taken_at
    before = stamp(zero)
    for i in range(number):
        changed = data.replace(before, stamp(zero + timedelta(minutes=10 * i)))
        (folder / f"{i:05}.jpg").write_bytes(changed)


def stamp(moment: datetime) -> bytes:
    return moment.strftime("%Y:%m:%d %H:%M:%S").encode()


def share_kb(process: int) -> int:
    """Proportional share of one process and of those it started, kB."""
    total = 0
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(status.read_text().rpartition(")")[2].split()[1])
            if process in (int(status.parent.name), parent):
                lines = (status.parent / "smaps_rollup").read_text().splitlines()
                total += next(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
        except (OSError, StopIteration):
            continue
    return total


def peak_mb(folder: Path, *options: str) -> tuple[float, float]:
    """Largest share while the folder was tracked, MB, and the seconds it took."""
    command = [sys.executable, "-m", "glowkin", "track", str(folder), "--control", "S3", *options]
    began, peak = time.monotonic(), 0
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:  # noqa: S603
        while process.poll() is None:
            peak = max(peak, share_kb(process.pid))
            time.sleep(0.2)
    if process.returncode:
        raise SystemExit(f"track ended with {process.returncode}")
    return peak / 1024, time.monotonic() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("few", type=int, nargs="?", default=100)
    parser.add_argument("many", type=int, nargs="?", default=1000)
    parser.add_argument("width", type=int, nargs="?", default=WIDTH)
    parser.add_argument("--out", action="store_true")
    options = parser.parse_args()
    few, many = options.few, options.many
    found = []
    for number in (few, many):
        with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as out:
            photographs(Path(folder), number, options.width)
            found.append(peak_mb(Path(folder), *(("--out", out) if options.out else ("--json",))))
            print(f"{number} photographs: {found[-1][0]:.0f} MB, {found[-1][1]:.0f} s", flush=True)
    growth = found[1][0] / found[0][0] - 1
    print(f"{100 * growth:+.0f} %, {1024 * (found[1][0] - found[0][0]) / (many - few):.1f} kB a photograph")


if __name__ == "__main__":
    main()
