"""Ten thousand photographs of a series must not need the memory ten thousand times."""

from __future__ import annotations

import json
import pickle
import tracemalloc
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from deeds import deed
from glowkin.base.records import course_from_json, to_json
from glowkin.base.shelf import Shelf
from glowkin.findings.change import two_forms_suffice
from glowkin.findings.frames import frames_in_time, series_of, steadied
from glowkin.findings.track import Plan
from glowkin.recipes import measure, measure_lean, track
from glowkin.run.many import map_photos
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.stage import two_reds_and_green
from glowkin.session import start
from glowkin.telling import out_dir
from glowkin.telling.out_dir import preview_name, write_out
from glowkin.telling.previews import pixels_of
from glowkin.telling.provenance import photos_table
from glowkin.telling.spots import thinned

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
    assert isinstance(session.photos, Shelf)
    pictures = list((tmp_path / "figures").iterdir())
    assert {p.name for p in pictures} == {preview_name(photo) for photo in session.photos}
    assert {pixels_of(p).shape[2] for p in pictures} == {3}
    assert all(s.outline_px for p in session.photos for s in p.samples)


def test_documents_of_a_series_are_written_without_holding_it(folder, tmp_path, monkeypatch):
    """Figures and report draw, and list, evenly many of a long series: see below."""
    monkeypatch.setattr(out_dir, "drawn", lambda _: ())
    monkeypatch.setattr(out_dir, "build_report", lambda *_, **__: "")
    photo = measure(folder / "0.dng")
    held = []
    for length in (4, 8, 48):
        times = [f"2026-05-{1 + i // 24:02}T{i % 24:02}:00" for i in range(length)]
        shelf = Shelf(replace(photo, taken_at=at, path=f"{at}.dng") for at in times)
        photos, course = track(shelf, Plan(("S3",)))
        tracemalloc.start()
        write_out(tmp_path / str(length), photos, course=course)
        held.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    written = json.loads((tmp_path / "48" / "measure.json").read_text())["photos"]
    assert written[7] == json.loads(json.dumps(to_json(replace(photos[7], path="2026-05-01T07:00.dng"))))
    assert (tmp_path / "48" / "samples.csv").read_text().count("\n") == 1 + 3 * 48
    assert course_from_json(json.loads((tmp_path / "48" / "track.json").read_text())) == course
    assert (held[2] - held[1]) / 40 < 4_000


def test_of_a_long_series_figures_draw_evenly_many_and_the_report_lists_the_ends(folder):
    assert thinned(range(1000))[:3] == [0, 3, 5]
    assert thinned(range(1000))[-1] == 999
    photo = measure_lean(folder / "0.dng", session_settings())
    names = {f"{i}.dng": str(i) for i in range(1200)}
    table = photos_table([replace(photo, path=path) for path in names], names)
    assert [row[0] for row in table.rows[498:502]] == ["498", "499", "700", "701"]
    assert "1200 photographs" in table.note


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
