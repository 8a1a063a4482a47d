"""Nothing tells where the photographs were, and vials find their condition."""

from __future__ import annotations

from pathlib import PurePosixPath

import pytest

from glowkin.base.names import split_temperature, split_vial
from glowkin.base.records import SampleCourse
from glowkin.telling.naming import base_name, by_condition, gathered, public_names, without_folders


@pytest.mark.parametrize(
    "text",
    [
        "/home/someone/glow/a.dng",
        "cannot read /home/someone/glow/a.dng: empty",
        r"C:\Users\someone\a.dng",
        "C:/Users/someone/a.dng",
        r"\\server\someone\a.dng",
        "~/someone/a.dng",
        "file:///home/someone/a.dng",
        "--camera=/home/someone/a.dng",
        "'/home/someone/my photos/a.dng' is empty",
        "/home/some one/my photos/a.dng",
        {"camera": ["/home/someone/a.dng"]},
        [PurePosixPath("/home/someone/a.dng")],
    ],
)
def test_folders_are_cut_from_paths_in_text(text):
    shown = str(without_folders(text))
    assert "some" not in shown
    assert "a.dng" in shown


@pytest.mark.parametrize(
    "text", ["10 mW/cm2", "and/or", "f/4", "1/3", "https://doi.org/10.1000/x", "u'v' / nm"]
)
def test_slashes_that_are_no_paths_stay(text):
    assert without_folders(text) == text


def test_names_stay_distinct_and_short():
    names = public_names(["/d/a/1.jpg", "/d/b/1.jpg", "/d/b/2.jpg", "C:\\x\\3.jpg"])
    assert list(names.values()) == ["a/1.jpg", "b/1.jpg", "2.jpg", "3.jpg"]
    assert base_name("relative/4.jpg") == "4.jpg"


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("MgCl2 25 C-1", ("MgCl2 25 C", "1")),
        ("tight cap 12", ("tight cap", "12")),
        ("red B", ("red", "B")),
        ("control", ("control", "")),
        ("green form", ("green form", "")),
        ("7", ("7", "")),
        ("freezer -18 C", ("freezer -18 C", "")),
        ("freezer -18 °C-2", ("freezer -18 °C", "2")),
        ("tray 1-C", ("tray 1", "C")),
    ],
)
def test_a_vial_is_the_part_after_the_last_dash_or_space(name, parts):
    assert split_vial(name) == parts


@pytest.mark.parametrize(
    ("condition", "parts"),
    [
        ("MgCl2 25 C", ("MgCl2", 25.0)),
        ("MgCl2-5C", ("MgCl2", 5.0)),
        ("freezer −18.5 °C", ("freezer", -18.5)),
        ("298 K", ("", pytest.approx(24.85))),
        ("KCl", ("KCl", None)),
        ("H2C 3", ("H2C 3", None)),
        ("5 C to 25 C", ("5 C to 25 C", None)),
    ],
)
def test_a_storages_temperature_is_read_from_its_name(condition, parts):
    assert split_temperature(condition) == parts


def test_a_condition_with_one_vial_keeps_its_whole_name():
    assert by_condition(["NaCl-1", "NaCl-2", "MgCl2 25 C"]) == {
        "NaCl": ["NaCl-1", "NaCl-2"],
        "MgCl2 25 C": ["MgCl2 25 C"],
    }


def test_all_vials_of_a_storage_are_named_once():
    nothing = "no change seen", None, None, None, None, (), None, None, None, None, (), ()
    courses = [SampleCourse(name, *nothing) for name in ("dry-1", "dry-2", "wet-1", "wet-2", "control")]
    assert gathered(["dry-1", "dry-2", "wet-2", "control"], courses) == "dry (2 vials), wet-2, control"
    assert gathered(["control"], courses) == "control"
