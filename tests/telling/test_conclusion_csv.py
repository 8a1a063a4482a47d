"""What was concluded, as tables: read back by the csv of Python and set beside the documents."""

from __future__ import annotations

import csv
import json
from dataclasses import replace

import pytest

from glowkin.base.clocks import ClockFound
from glowkin.base.matches import (
    Assumed,
    FormProbability,
    KnownForm,
    Matches,
    MixtureProbability,
    SampleMatch,
    match_document,
)
from glowkin.base.records import compare_document, to_json, track_document
from glowkin.base.storages import Arrhenius, AtTemperature, CourseComparison, StorageCourse
from glowkin.telling.conclusion_csv import COURSE_TABLES, course_tables, matches_csv, pairs_csv


def read(text):
    return list(csv.DictReader(text.splitlines()))


def number(cell):
    return None if cell == "" else float(cell)


def same(row, value, interval, head, unit):
    """A figure and its limits are the document's, to the last digit."""
    low, high = interval or (None, None)
    ends = [head, f"{head} low 95 %", f"{head} high 95 %"]
    assert [number(row[f"{h} ({unit})"]) for h in ends] == [value, low, high]


def test_every_pair_is_a_row(pairs):
    document = json.loads(json.dumps(compare_document(pairs, [], "test")))
    rows = read(pairs_csv(pairs))
    assert len(rows) == len(document["pairs"]) == 2
    for row, pair in zip(rows, document["pairs"], strict=True):
        assert (row["sample a"], row["sample b"]) == (pair["a"]["name"], pair["b"]["name"])
        assert (row["photograph of a"], row["verdict"]) == (pair["a"]["path"], pair["verdict"])
        same(row, pair["delta_u_prime_v_prime"], pair["delta_u_prime_v_prime_interval"],
             "difference u prime v prime", "1")  # fmt: skip
        same(row, pair["delta_dominant_wavelength_nm"], pair["delta_dominant_wavelength_interval_nm"],
             "dominant wavelength of b minus a", "nm")  # fmt: skip
        assert number(row["probability within tolerance (1)"]) == pair["probability_within_tolerance"]
        assert number(row["CIEDE2000 (1)"]) == pair["delta_e_2000"]
        assert number(row["n-step (1)"]) == pair["n_step"]


@pytest.fixture
def whole(short_course):
    """A course with something in each table."""
    first, *rest = short_course.samples
    told = replace(
        first,
        flags=("single-vial",),
        contradicted=("old form", "luminance ratio"),
        spoiled_photos=("a 1.dng", "b.dng"),
        clock=ClockFound("elapsed time", -80.0, -60.0, "first-order", "first-order", "exposure"),
    )
    return replace(
        short_course,
        samples=(told, *rest),
        storages=(
            StorageCourse("MgCl2 25 C", ("MgCl2 25 C-1", "MgCl2 25 C-2"), 21600.0, (20000.0, None), 0.05, 1,
                          25.0),
        ),
        storage_comparisons=(
            CourseComparison("MgCl2 25 C", "NaCl 25 C", None, (None, 0.5), "cannot tell", ("across-states",)),
        ),
        arrhenius=(
            Arrhenius("MgCl2", ("MgCl2 25 C", "MgCl2 5 C"), (5.0, 25.0), 90.1, (80.0, 100.0),
                      (AtTemperature(15.0, 8e4, (7e4, 9e4), beyond=False),)),
            Arrhenius("K2CO3", ("K2CO3 25 C", "K2CO3 5 C"), (5.0, 25.0), 50.0, None),
        ),
    )  # fmt: skip


def test_verdicts_and_half_times_are_those_of_the_document(whole):
    document = json.loads(json.dumps(track_document(whole, [], "test")))
    tables = course_tables(whole)
    assert tuple(tables) == COURSE_TABLES
    rows = read(tables["samples"])
    assert [r["sample"] for r in rows] == [s["name"] for s in document["samples"]]
    for row, sample in zip(rows, document["samples"], strict=True):
        assert row["verdict"] == sample["verdict"]
        same(row, sample["half_time_s"], sample["half_time_interval_s"], "half-time", "s")
        same(row, sample["stops_at"], sample["stops_at_interval"], "fraction left in the end", "1")
        ratio = sample["luminance_ratio"] or {"value": None, "low": None, "high": None}
        same(row, ratio["value"], (ratio["low"], ratio["high"]), "luminance ratio", "1")
        assert number(row["longer than (s)"]) == sample["longer_than_s"]
        assert number(row["half-time of the light (s)"]) == sample["light_half_time_s"]
        assert row["rate models not excluded"] == "; ".join(sample["not_excluded"])
        assert row["two forms suffice"] == {True: "yes", False: "no", None: ""}[sample["two_forms_suffice"]]
    assert rows[0]["given but contradicted"] == "old form; luminance ratio"
    assert rows[0]["photographs not counted"] == "a 1.dng; b.dng"
    assert (rows[0]["flags"], rows[0]["change goes by"]) == ("single-vial", "elapsed time")
    assert (rows[0]["storage condition"], rows[0]["replicate"]) == ("MgCl2 25 C", "1")
    assert number(rows[0]["storage temperature (degC)"]) == 25.0


def test_every_model_storage_pair_and_temperature_is_a_row(whole):
    document = json.loads(json.dumps(track_document(whole, [], "test")))
    tables = {name: read(text) for name, text in course_tables(whole).items()}
    fits = [(s, m) for s in document["samples"] for m in s["models"]]
    assert len(fits) == len(tables["models"]) > 0
    for row, (sample, fit) in zip(tables["models"], fits, strict=True):
        assert (row["sample"], row["rate model"]) == (sample["name"], fit["model"])
        assert row["not excluded"] == ("yes" if fit["model"] in sample["not_excluded"] else "no")
        same(row, fit["half_time_s"], fit["half_time_interval_s"], "half-time", "s")
        assert number(row["tau (s)"]) == fit["parameters"]["tau_s"]
        assert number(row["exponent (1)"]) == fit["parameters"].get("exponent")
        assert number(row["fraction left in the end (1)"]) == fit["parameters"].get("stops_at")
    (storage,) = tables["storages"]
    same(storage, 21600.0, (20000.0, None), "half-time of a typical vial", "s")
    assert storage["vials"] == "MgCl2 25 C-1; MgCl2 25 C-2"
    found = document["comparisons"] + document["storage_comparisons"]
    assert [r["of"] for r in tables["ratios"]] == ["samples"] * (len(found) - 1) + ["typical vials"]
    for row, pair in zip(tables["ratios"], found, strict=True):
        assert (row["a"], row["b"], row["verdict"]) == (pair["a"], pair["b"], pair["verdict"])
        same(row, pair["half_time_ratio"], pair["interval"], "half-time of a over that of b", "1")
    told, untold = tables["temperatures"]
    same(told, 8e4, (7e4, 9e4), "half-time", "s")
    same(told, 90.1, (80.0, 100.0), "activation energy", "kJ/mol")
    assert (told["beyond the temperatures watched"], told["temperatures watched (degC)"]) == (
        "no",
        "5.0; 25.0",
    )
    assert (untold["activation energy (kJ/mol)"], untold["temperature (degC)"]) == ("50.0", "")


def test_tables_with_nothing_in_them_are_none(whole):
    assert course_tables(replace(whole, samples=(), comparisons=(), storages=(), storage_comparisons=(),
                                 arrhenius=())) == {}  # fmt: skip


def test_every_answer_of_a_match_is_a_row():
    one = SampleMatch(
        "a.dng", "red", "cannot tell", "cannot tell", ("red", "green"), (("red",), ()),
        (FormProbability("red", 0.125, 0.6), FormProbability("green", 0.125, 0.1)),
        (MixtureProbability("red", "green", 0.25, 0.2, 0.8, (0.7, 0.9)),), 0.5, 0.1, 0.4, 0.5, ("clipped",),
    )  # fmt: skip
    known = tuple(
        KnownForm(n, 0.4, 0.5, ((1e-5, 0.0), (0.0, 1e-5)), "published", "x") for n in ("red", "green")
    )
    matches = Matches("forms.json", "a" * 64, 2, known, Assumed(), (one,))
    document = json.loads(json.dumps(match_document(matches, [], "test")))
    rows = read(matches_csv(matches))
    assert [(r["form a"], r["form b"]) for r in rows] == [
        ("red", ""),
        ("green", ""),
        ("red", "green"),
        ("", ""),
    ]
    assert [number(r["probability (1)"]) for r in rows] == [0.6, 0.1, 0.2, 0.1]
    assert sum(number(r["probability before (1)"]) for r in rows) == 1.0
    (mixture,) = document["samples"][0]["mixtures"]
    same(rows[2], mixture["light_fraction_a"], mixture["light_fraction_a_interval"], "light of a", "1")
    assert {r["consistent with"] for r in rows} == {"red; green"}
    assert to_json(one)["verdict"] == rows[0]["verdict"]
