"""Fractions against time, a few samples side by side; of long series some photographs."""

from __future__ import annotations

import csv
from dataclasses import replace

from glowkin.telling.csv_file import course_csv
from glowkin.telling.fractions_table import MOST_BESIDE, MOST_TABLES, MOST_TIMES, fractions_tables


def test_every_sample_stands_at_every_time(short_course):
    tables = fractions_tables(short_course, "course.csv")
    shown = {head for t in tables for head in t.heads[1:]}
    assert {s.name for s in short_course.samples} == {
        head.removesuffix(", share of its light") for head in shown
    }
    for t in tables:
        assert 1 < len(t.heads) <= MOST_BESIDE + 1
        assert len(t.rows) == len(short_course.samples[0].points) <= MOST_TIMES
        assert all(" to " in cell for row in t.rows for cell in row[1:])
    assert "course.csv" not in tables[-1].note


def test_figures_are_those_of_the_course(short_course):
    sample = short_course.samples[0]
    (column,) = [
        [row[t.heads.index(sample.name)] for row in t.rows]
        for t in fractions_tables(short_course, "")
        if sample.name in t.heads
    ]
    for cell, p in zip(column, sample.points, strict=True):
        value, low, _, high = cell.replace("(", "").replace(")", "").split()
        half = (p.high - p.low) / 2
        for told, true in ((value, p.fraction_start), (low, p.low), (high, p.high)):
            assert abs(float(told) - true) < half / 3


def many(course, samples, photographs):
    one = course.samples[0]
    points = tuple(replace(one.points[0], time_s=60.0 * i, path=f"{i}.dng") for i in range(photographs))
    named = tuple(replace(one, name=f"vial-{i}", vial=None, points=points) for i in range(samples))
    return replace(course, samples=named)


def test_a_long_series_is_told_from_its_first_to_its_last_photograph(course):
    (table,) = fractions_tables(many(course, 2, 1000), "course.csv")
    assert len(table.rows) == MOST_TIMES
    assert (table.rows[0][0], table.rows[-1][0]) == ("0", "16.65")
    assert (
        f"{MOST_TIMES} photographs of each series are shown, spread over it; course.csv has all" in table.note
    )


def test_times_stand_in_the_unit_of_their_column(course):
    days = many(course, 1, 3)
    times = (0.0, 7200.0, 12 * 86400.0)
    points = tuple(replace(p, time_s=t) for p, t in zip(days.samples[0].points, times, strict=True))
    (table,) = fractions_tables(replace(days, samples=(replace(days.samples[0], points=points),)), "")
    assert table.heads[0] == "Time, d"
    assert [row[0] for row in table.rows] == ["0", "0.08333", "12"]


def test_of_many_samples_the_rest_is_counted(course):
    tables = fractions_tables(many(course, 100, 3), "course.csv")
    assert len(tables) == MOST_TABLES
    shown = sum(len(t.heads) - 1 for t in tables)
    assert f"{100 - shown} more samples are in course.csv" in tables[-1].note


def test_light_and_spoiled_photographs_are_marked(short_course):
    one = short_course.samples[0]
    points = tuple(replace(p, fraction_start=None, low=None, high=None) for p in one.points)
    points = (replace(points[0], flags=("spoiled-frame",)), *points[1:])
    (table,) = fractions_tables(replace(short_course, samples=(replace(one, points=points),)), "")
    assert table.heads[1] == f"{one.name}, share of its light"
    assert table.rows[0][1].startswith("[")
    assert "spoiled photograph" in table.note


def test_samples_without_fractions_have_no_column(short_course):
    one, *others = short_course.samples
    unknown = {"fraction_start": None, "low": None, "high": None, "light_fraction_start": None}
    points = tuple(replace(p, **unknown) for p in one.points)
    tables = fractions_tables(replace(short_course, samples=(replace(one, points=points), *others)), "")
    assert all(one.name not in t.caption and one.name not in t.heads for t in tables)
    assert fractions_tables(replace(short_course, samples=(replace(one, points=points),)), "") == []


def test_the_csv_has_every_point(course):
    rows = list(csv.DictReader(course_csv(course).splitlines()))
    assert len(rows) == sum(len(s.points) for s in course.samples)
    last = course.samples[-1].points[-1]
    assert float(rows[-1]["fraction in the starting form (1)"]) == last.fraction_start
    assert float(rows[-1]["time after time zero (s)"]) == last.time_s
