"""Ten thousand photographs of a series must not need the memory ten thousand times."""

from __future__ import annotations

import pickle
import tracemalloc
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from deeds import deed
from glowkin.base.shelf import Shelf
from glowkin.findings.change import two_forms_suffice
from glowkin.findings.frames import frames_in_time, series_of, steadied
from glowkin.findings.track import Plan
from glowkin.recipes import measure_lean, track
from glowkin.run.many import map_photos
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.stage import two_reds_and_green
from glowkin.session import start
from glowkin.telling.previews import pixels_of

OPTIONS = {"outlines": None, "names": None, "out": None, "as_json": True, "jobs": 1}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two photographs of one scene, three hours apart."""
    folder = tmp_path_factory.mktemp("series")
    shot = photograph(two_reds_and_green((450, 300)), default_camera(), np.random.default_rng(1))
    for hours in (0, 3):
        taken = replace(shot.exposure, taken_at=shot.exposure.taken_at + timedelta(hours=hours))
        write_dng(replace(shot, exposure=taken), folder / f"{hours}.dng")
    return folder


def test_of_a_photograph_only_what_a_course_needs_is_kept(folder):
    session = start([folder], "glowkin", series=True, **OPTIONS)
    assert session.previews == {}
    assert all(s.outline_px == () and s.linear_rgb for p in session.photos for s in p.samples)
    assert max(len(pickle.dumps(p)) for p in session.photos) < 3_000
    full = start([folder], "glowkin", **OPTIONS).photos
    assert track(session.photos, Plan(("S3",)))[1] == track(full, Plan(("S3",)))[1]


def test_a_series_on_a_shelf_gives_the_same_course(folder):
    session = start([folder], "glowkin", series=True, **OPTIONS)
    assert isinstance(session.photos, Shelf)
    shelved, course = track(session.photos, Plan(("S3",)))
    listed, same = track(list(session.photos), Plan(("S3",)))
    assert isinstance(shelved, Shelf)
    assert list(shelved) == listed
    assert course == same


@pytest.mark.parametrize("kind", ["raw", "rendered"])
def test_a_photograph_more_takes_hardly_more_memory(folder, kind):
    """Of three samples: what a course of them takes at its peak, of which a third stays."""
    photo = replace(measure_lean(folder / "0.dng", session_settings()), kind=kind)
    taken = [
        f"2026-{1 + i // 1344:02}-{1 + i // 48 % 28:02}T{i // 2 % 24:02}:{30 * (i % 2):02}"
        for i in range(400)
    ]
    held = []
    for length in (200, 400):
        shelf = Shelf(replace(photo, taken_at=at, path=f"{at}.dng") for at in taken[:length])
        tracemalloc.start()
        course = track(shelf, Plan(("S3",)))
        held.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        del course
    assert (held[1] - held[0]) / 200 < 5_500


def test_small_pictures_wait_in_their_files(folder, tmp_path):
    session = start([folder], "glowkin", series=True, **{**OPTIONS, "out": tmp_path})
    assert sorted(session.previews.values()) == sorted((tmp_path / "figures").iterdir())
    assert {pixels_of(p).shape[2] for p in session.previews.values()} == {3}
    assert all(s.outline_px for p in session.photos for s in p.samples)


def test_working_on_a_series_takes_memory_in_proportion_to_its_length(folder):
    photo = measure_lean(folder / "0.dng", session_settings())
    day = [
        replace(photo, taken_at=f"2026-05-{1 + i // 48:02}T{i // 2 % 24:02}:{30 * (i % 2):02}")
        for i in range(1400)
    ]
    peaks = []
    for length in (700, 1400):
        frames = steadied(frames_in_time(day[:length], None), ("S3",))
        series = series_of(frames, "S1", 0.015)
        tracemalloc.start()
        two_forms_suffice(series)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 2.2 * peaks[0]


def session_settings():
    from glowkin.base.settings import Settings

    return Settings()


class Read(list):
    """Paths, and how many of them were asked for."""

    asked = 0

    def __iter__(self):
        for path in super().__iter__():
            self.asked += 1
            yield path


def test_no_more_photographs_are_under_way_than_keep_the_workers_busy():
    paths = Read(Path(f"{i}.jpg") for i in range(40))
    outcomes = map_photos(deed, paths, 2)
    first = next(outcomes)
    assert (first.result, paths.asked) == ("0", 9)
    assert [o.result for o in outcomes] == [str(i) for i in range(1, 40)]
