"""The whole job on the sample photographs: what is found against the answers they were rendered from."""

from __future__ import annotations

import json
import re
from contextlib import redirect_stdout
from io import StringIO
from time import perf_counter

import pytest

from glowkin.demo import run_demo, sample_images


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    out = tmp_path_factory.mktemp("demo")
    start = perf_counter()
    with redirect_stdout(StringIO()) as printed:
        run_demo(out, "glowkin test", as_json=True)
    return out, json.loads(printed.getvalue()), perf_counter() - start


def test_every_known_answer_lies_in_its_interval(demo):
    outside = [row["what"] for row in demo[1]["checks"] if not row["inside"]]
    assert outside == []
    assert len(demo[1]["checks"]) >= 50


def test_the_intervals_are_as_narrow_as_raw_files_allow(demo):
    widths = {row["what"]: row["high"] - row["low"] for row in demo[1]["checks"]}
    assert max(w for what, w in widths.items() if re.search("[uv]′$", what) and "JPEG" not in what) < 0.3
    relative = [
        (row["high"] - row["low"]) / row["found"]
        for row in demo[1]["checks"]
        if row["what"].endswith("half-time") and not row["what"].startswith("tight")
    ]
    assert max(relative) < 0.03
    assert len(relative) == 9


def test_verdicts_are_what_is_truly_so(demo):
    verdicts = {row["what"]: row["verdict"] for row in demo[1]["verdicts"]}
    assert verdicts["red-batch-1 and red-batch-2"] == "cannot tell"
    assert verdicts["red-batch-1 and green-form"] == "different"
    still = [v for name, v in verdicts.items() if name.startswith("NaCl") or name == "control"]
    assert still == ["no change seen"] * 4
    assert all(v.startswith("changing, avrami") for n, v in verdicts.items() if n.startswith("MgCl2"))
    known = {row["what"]: row["known"] for row in demo[1]["verdicts"]}
    changing = [name for name, truly in known.items() if truly.startswith("changes, ")]
    assert len(changing) == 12
    # Of twelve a 95 % statement may miss one: tight-3 changes by 1.3 % only.
    assert sum(known[n].removeprefix("changes, ") not in verdicts[n] for n in changing) <= 1


def test_known_forms_are_told_with_care(demo):
    """The green form is found, and no stranger is taken for a form."""
    rows = {row["what"]: row for row in demo[1]["verdicts"] if row["what"].endswith("beside known forms")}
    assert len(rows) == 5
    green = rows["green-form beside known forms"]
    assert (green["verdict"], green["known"]) == (
        "colour consistent with green; not proof of identity",
        "green",
    )
    for row in rows.values():
        if row["known"] == "neither":
            assert "colour consistent with" not in row["verdict"].replace("with none of the forms", "")
        else:
            assert row["known"] in row["verdict"]


def test_the_report_shows_all_that_the_study_keeps(demo):
    html = (demo[0] / "report.html").read_text("utf-8")
    for words in (
        "Change over time", 'aria-label="Maps of how far', "Where it begins, by the maps", "Comparisons",
        "Known forms", 'aria-label="Samples beside known forms', "not proof of identity",
        "Preparation and yield", "Courses, comparisons and matches that the study keeps",
    ):  # fmt: skip
        assert words in html, words


def test_the_report_asks_for_nothing_from_outside_and_hides_the_machine(demo):
    html = (demo[0] / "report.html").read_text("utf-8")
    assert not re.search(r"""(?:src|href|url\()\s*=?\s*["'(]?\s*(?:https?:)?//""", html)
    assert str(sample_images().parent) not in html
    assert str(demo[0].parent) not in html


def test_it_takes_a_minute_or_two(demo):
    """Alone on two cores 50 s; beside other tests up to twice as long."""
    assert demo[2] < 150


def test_the_answers_say_that_they_are_invented():
    answers = json.loads((sample_images() / "answers.json").read_text("utf-8"))
    assert "invented" in answers["note"]
    assert sum(f.stat().st_size for f in sample_images().rglob("*") if f.is_file()) < 12e6
