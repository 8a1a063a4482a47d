"""Every question goes by an index, and what triggers count is what is there."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import replace

import pytest

from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample
from glowkin.base.settings import Settings
from glowkin.study import ledger
from glowkin.study.edits import Change
from glowkin.study.pictures import Picture
from glowkin.study.queries import QUERIES
from glowkin.study.reading import ALL, open_study
from glowkin.study.ways import way_of
from glowkin.study.workbook import Task, new_study, open_workbook

SMALL = ("study", "names", "flag_counts", "programs", "cameras", "settings", "awaited", "edits")
"""Tables that do not grow with what is measured."""


def invented(number, names=("a", "b"), flags=("clipped",)):
    samples = tuple(
        Sample(name, (0.0, 0.0), 9.0, ((0.0, 0.0),), 0.1, 0.5, ((1e-4, 0.0), (0.0, 1e-4)), flags=flags)
        for name in names
    )
    taken = f"2026-05-{number // 24 + 1:02d}T{number % 24:02d}:00:00"
    used = CameraUsed("invented", "generic")
    shot = taken, 0.5, 100.0, 4.0, "raw", (9, 9)
    return MeasuredPhoto("", f"{number:064x}", *shot, used, "E", (0.3, 0.3), 2, ("room-light",), samples)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A study of 120 invented photographs."""
    folder = new_study(tmp_path_factory.mktemp("large") / "s", "Invented", "test 1")
    with open_workbook(folder, "test 1") as book, book.one_commit():
        way = book.keep_way(way_of(Settings(), folder))
        for number in range(120):
            picture = Picture(f"p/{number}.dng", f"{number:064x}", 1, 1)
            task = Task(book.take(picture, way), picture, way, (), None)
            book.keep(task, invented(number), b"", None)
    return folder


@pytest.mark.parametrize("name", QUERIES)
def test_no_question_walks_through_a_table(folder, name):
    """SQLite's own account of how it would answer (EXPLAIN QUERY PLAN)."""
    with ledger.reading(folder) as connection:
        marks = [1] * QUERIES[name].count("?")
        plan = [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {QUERIES[name]}", marks)]
    walked = [step for step in plan if step.startswith("SCAN") and "USING" not in step]
    aliases = {short: table for table, short in re.findall(r"(?:FROM|JOIN) (\w+) (\w)\b", QUERIES[name])}
    large = [step for step in walked if aliases.get(step.split()[1], step.split()[1]) not in SMALL]
    assert large == []


def test_lists_come_in_parts_that_join(folder):
    with open_study(folder) as study:
        parts = [row.id for after in range(0, 120, 50) for row in study.photographs(50, after)]
        assert parts == [row.id for row in study.photographs(120)] == list(range(1, 121))
        course = [row.path for after in range(0, 120, 70) for row in study.course("a", 70, after)]
        assert course == [f"p/{n}.dng" for n in range(120)]


def test_long_lists_are_asked_for_in_parts_and_are_whole(folder, monkeypatch):
    """By seven rows at a time as all at once."""
    with open_workbook(folder, "test 1") as book:
        numbers = [row.measurement_id for row in book.reading.photographs(120)]
        book.conclude("compare", {"pairs": []}, {}, "", numbers)

    def lists():
        with open_study(folder) as study:
            return [
                study.photographs(ALL), study.photographs(20, 30), study.course("a"), study.conclusions(ALL),
                list(study.pictures()), study.grounds_of(1), study.hashes_of(1), study.needed(),
            ]  # fmt: skip

    whole = lists()
    assert [len(one) for one in whole] == [120, 20, 120, 1, 120, 120, 120, 120]
    monkeypatch.setattr("glowkin.study.reading._PART", 7)
    assert lists() == whole


def test_frames_of_what_is_still_to_be_measured_are_needed(tmp_path):
    with open_workbook(new_study(tmp_path / "s", "", "test"), "test") as book:
        picture, frame = (Picture(f"{letter}.dng", letter * 64, 1, 1) for letter in "ab")
        way = way_of(Settings(), book.folder)
        told = {**way.told, "lamp_off": [frame.sha256]}
        number = book.take(picture, book.keep_way(replace(way, told=told, frames=[frame])))
        assert book.reading.needed() == {picture.sha256, frame.sha256}
        book.edit("out", [Change(number, "left_out", "why")])
        assert book.reading.needed() == set()


VIEW = (
    "CREATE TEMP VIEW standing AS SELECT m.* FROM measurements m JOIN photographs p "
    "ON p.id = m.photograph_id WHERE m.current AND p.left_out = ''"
)
COUNTED = {
    "SELECT name, photographs FROM names WHERE photographs":
        "SELECT s.name, count(*) FROM samples s JOIN standing m ON m.id = s.measurement_id GROUP BY s.name",
    "SELECT flag, photographs, samples FROM flag_counts WHERE photographs":
        "SELECT f.flag, count(*), sum(f.samples) FROM flags f "
        "JOIN standing m ON m.id = f.measurement_id GROUP BY f.flag",
    "SELECT id, photographs FROM cameras WHERE photographs":
        "SELECT camera_id, count(*) FROM standing GROUP BY camera_id",
    "SELECT id, photographs FROM programs WHERE photographs":
        "SELECT program_id, count(*) FROM standing GROUP BY program_id",
    "SELECT id, photographs FROM settings WHERE photographs":
        "SELECT settings_id, count(*) FROM standing GROUP BY settings_id",
}  # fmt: skip
"""What the triggers keep, and the same counted from what is there."""


def counted(folder):
    with sqlite3.connect(folder / ledger.LEDGER) as connection:
        connection.execute(VIEW)
        answers = [[sorted(connection.execute(query)) for query in pair] for pair in COUNTED.items()]
    connection.close()
    for kept, there in answers:
        assert kept == there
    return [{row[0]: row[1:] for row in kept} for kept, _ in answers]


def test_what_is_counted_is_what_is_there(folder, tmp_path):
    """After measurements, new measurements, names, leaving out, taking in and undoing."""
    with open_workbook(folder, "test 2") as book:
        book.edit("names", [Change(n, "names", '["x", "b"]') for n in (1, 2, 3)])
        book.edit("out", [Change(n, "left_out", "why") for n in (2, 9)])
        picture = Picture("p/2.dng", f"{2:064x}", 1, 1)
        book.ask_again([3])
        book.keep(
            Task(3, picture, 1, ("x", "b"), None), invented(2, ("x", "b"), ("clipped", "moved")), b"", "ab"
        )
        names, flags, *_ = counted(folder)
        assert names == {"a": (116,), "b": (118,), "x": (2,)}
        assert flags["moved"] == (1, 2)
        book.undo()
        assert counted(folder)[0]["b"] == (120,)
        book.undo()
        assert counted(folder)[0] == {"a": (119,), "b": (120,), "x": (1,)}
    with open_study(folder) as study:
        assert study.overview().samples == 240
        assert [c.photographs for c in study.cameras()] == [119, 1]
        assert [p.program for p in study.programs()] == ["test 1", "test 2"]
