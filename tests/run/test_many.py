from __future__ import annotations

import threading
from pathlib import Path

import pytest

from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.run.gather import photographs
from glowkin.run.many import map_photos

SUFFIXES = (".jpg", ".dng")
PATHS = [Path(f"{i}.jpg") for i in range(12)]


def name_unless_bad(path):
    if path.stem in {"3", "7"}:
        raise (CannotReadError if path.stem == "3" else CannotMeasureError)(f"{path}: bad")
    return path.stem


@pytest.mark.parametrize("jobs", [1, 4])
def test_bad_ones_are_reported_in_their_place_and_the_others_go_on(jobs):
    outcomes = list(map_photos(name_unless_bad, PATHS, jobs))
    assert [o.path for o in outcomes] == PATHS
    assert [o.message for o in outcomes if o.message] == ["3.jpg: bad", "7.jpg: bad"]
    assert [o.result for o in outcomes if o.result is not None] == [
        p.stem for p in PATHS if p.stem not in "37"
    ]


@pytest.mark.parametrize("jobs", [1, 4])
def test_wrong_use_stops_all(jobs):
    def work(path):
        raise WrongUseError("--white-point nonsense")

    with pytest.raises(WrongUseError, match="nonsense"):
        list(map_photos(work, PATHS, jobs))


def test_results_come_as_they_are_done_not_all_at_the_end():
    started = []

    def work(path):
        started.append(path)
        return path

    first = next(map_photos(work, PATHS))
    assert (first.path, started) == (PATHS[0], PATHS[:1])


def test_jobs_run_at_the_same_time():
    both = threading.Barrier(2, timeout=10)

    def work(path):
        both.wait()
        return path.stem

    assert [o.result for o in map_photos(work, PATHS[:2], jobs=2)] == ["0", "1"]


def test_nothing_gives_nothing():
    assert list(map_photos(name_unless_bad, [], 4)) == []


@pytest.fixture
def folder(tmp_path):
    for name in ("b.JPG", "a.jpg", "notes.txt", "c.dng", "._a.jpg", ".hidden.jpg"):
        (tmp_path / name).touch()
    (tmp_path / "deeper").mkdir()
    (tmp_path / "deeper" / "d.jpg").touch()
    (tmp_path / "folder.jpg").mkdir()
    return tmp_path


def test_a_folder_means_the_photographs_directly_in_it_by_name(folder):
    assert [p.name for p in photographs([folder], SUFFIXES)] == ["a.jpg", "b.JPG", "c.dng"]


def test_files_stay_in_the_order_given_and_each_comes_once(folder):
    paths = [folder / "c.dng", folder, folder / "missing.jpg", folder / "c.dng"]
    assert [p.name for p in photographs(paths, SUFFIXES)] == ["c.dng", "a.jpg", "b.JPG", "missing.jpg"]


def test_a_folder_without_photographs_is_said(tmp_path):
    with pytest.raises(CannotReadError, match="a folder that holds no photographs; check its name"):
        photographs([tmp_path], SUFFIXES)
