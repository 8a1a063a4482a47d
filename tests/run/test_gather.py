"""Which photographs a command means."""

from __future__ import annotations

from pathlib import Path

from glowkin.light.photo import RAW_SUFFIXES
from glowkin.run.gather import one_a_shot


def test_of_a_shot_saved_both_ways_a_series_takes_the_raw_file():
    paths = [Path(p) for p in ("a/1.dng", "a/1.jpg", "a/2.jpg", "a/3.NEF", "a/3.JPG", "b/1.jpg")]
    assert [p.as_posix() for p in one_a_shot(paths, RAW_SUFFIXES)] == [
        "a/1.dng",
        "a/2.jpg",
        "a/3.NEF",
        "b/1.jpg",
    ]


def test_files_of_one_kind_all_stay():
    for suffix in (".jpg", ".dng"):
        paths = [Path(f"{i}{suffix}") for i in range(3)]
        assert one_a_shot(paths, RAW_SUFFIXES) == paths
