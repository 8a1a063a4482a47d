"""Study files: what is read, and that all that is wrong is told at once."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from glowkin.base.errors import CannotReadError
from glowkin.base.events import EVENTS
from glowkin.findings.across import across
from glowkin.study.study_file import read_study_file

DOCS = Path(__file__).parents[2] / "docs"
EXAMPLE = re.search(r"^```toml\n(.*?)^```", (DOCS / "study-file.md").read_text("utf-8"), re.S | re.M)[1]


@pytest.fixture
def written(tmp_path):
    def write(text: str) -> Path:
        path = tmp_path / "study.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def refused(path) -> list[str]:
    """The lines of the refusal, without the file's name."""
    with pytest.raises(CannotReadError) as error:
        read_study_file(path)
    said = str(error.value)
    assert said.startswith(f"{path}: ")
    lines = said.removeprefix(f"{path}: ").removesuffix("; correct it").splitlines()
    if len(lines) > 1:
        assert lines[0] == f"{len(lines) - 1} things to correct:"
        lines = [line.removeprefix("  ") for line in lines[1:]]
    return lines


def plain(key, value):
    """A value of TOML as records have it: times and replicates as text, lists as tuples."""
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if isinstance(value, list):
        return tuple(value)
    return str(value) if key == "replicate" else value


def test_a_name_that_breaks_a_line_is_told_by_its_key(written):
    assert refused(written('[[sample]]\nname = "a\\nb"\n[[sample]]\nname = "c\\u00a0d"\n')) == [
        r"sample[1].name: 'a\nb' holds a line break or the like"
    ]


def test_the_example_of_the_docs_is_read_as_it_is_written(written):
    """Against the standard library's own TOML parser."""
    study, row = read_study_file(written(EXAMPLE)), tomllib.loads(EXAMPLE)
    for table in ("lamp", "form", "batch", "condition", "sample", "event", "photograph"):
        kept = getattr(study, table)
        assert len(kept) == len(row[table])
        for record, entry in zip(kept, row[table], strict=True):
            assert {key: getattr(record, key) for key in entry} == {k: plain(k, v) for k, v in entry.items()}
    assert study.names == tuple(s["name"] for s in row["sample"])
    assert (study.zero, study.controls) == ("2026-05-04T09:00:00", ("control",))


def test_every_key_is_in_the_docs():
    from dataclasses import fields, is_dataclass

    from glowkin.base import study

    text = (DOCS / "study-file.md").read_text("utf-8")
    tables = [t for t in vars(study).values() if is_dataclass(t) and t.__module__ == study.__name__]
    assert len(tables) == 10
    keys = {f.name for table in tables for f in fields(table)}
    assert [k for k in keys if f"`{k}`" not in text and f"[{k}]" not in text] == []
    assert [what for what in EVENTS if f'"{what}"' not in text] == []


def test_an_empty_file_says_nothing(written):
    study = read_study_file(written(""))
    assert (study.names, study.zero, study.vials, study.references) == ((), None, {}, ())


def test_everything_wrong_is_told_at_once(written):
    text = """
start = 2026-05-04
contols = ["a"]
controls = ["stedy", "twice"]
converted = ["steady"]
blanks = "empty"
author = 5
[camera]
fil = "x"
[shot]
temperature_c = "warm"
humidity_percent = 120
lamp_on_min = -1
lamp = "tourch"
[[lamp]]
name = "torch"
peak_nm = 30
[[sample]]
name = "steady"
state = "dry"
[[sample]]
name = "steady"
form = "red"
[[sample]]
stat = "wet"
replicate = 1.5
[[condition]]
name = "MgCl2 25 C"
temperature_c = 5
[[event]]
at = "noon"
what = "openned"
samples = ["nobody"]
[[photograph]]
temperature_c = true
"""
    assert sorted(refused(written(text))) == sorted(
        [
            "start: must be a date with a time of day, as 2026-05-04T13:30:00",
            "contols: there is no such key; nearest: controls",
            "controls[1]: no [[sample]] is named 'stedy'; nearest: steady",
            "controls[2]: no [[sample]] is named 'twice'; there are steady",
            "blanks: must be a list",
            "author: must be text",
            "camera.fil: there is no such key; nearest: file",
            "shot.temperature_c: must be a number",
            "shot.humidity_percent: must be less than or equal to 100",
            "shot.lamp_on_min: must be greater than or equal to 0",
            "shot.lamp: no [[lamp]] is named 'tourch'; nearest: torch",
            "lamp[1].peak_nm: must be greater than or equal to 180",
            "sample[1].state: is 'dry', must be 'wet', 'dried' or 'ground'",
            "sample[2].name: 'steady' is listed twice; give each its own name",
            "sample[2].form: no [[form]] is named 'red'; there are none",
            "sample[3].name: is missing",
            "sample[3].stat: there is no such key; nearest: state",
            "sample[3].replicate: must be text",
            "condition[1].temperature_c: is 5, the name 'MgCl2 25 C' says 25",
            "event[1].at: must be a date with a time of day, as 2026-05-04T13:30:00",
            "event[1].what: is 'openned', must be 'opened', 'sealed', 'warmed', 'moved' or 'lamp changed'",
            "event[1].samples[1]: no [[sample]] is named 'nobody'; there are steady",
            "photograph[1].file: is missing",
            "photograph[1].temperature_c: must be a number",
        ]
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("sample = 5", "sample: must be a list"),
        ("sample = [5]", "sample[1]: must be a table of named values"),
        ("shot = []", "shot: must be a table of named values"),
        ('start = "2026-05-04"', "start: must be a date with a time of day, as 2026-05-04T13:30:00"),
        ("start = 9:00", "is no TOML that can be read"),
        ("[[batch]]\nname = 'A'\nprepared = 'may'", "batch[1].prepared: must be a date, as 2026-05-04"),
        ("[[form]]\nname = ''", "form[1].name: must not be empty"),
        ("[shot]\ntemperature_c = nan", "shot.temperature_c: must be a number, and not infinite"),
        (
            "controls = ['a']\nblanks = ['a']\n[[sample]]\nname = 'a'",
            "controls: 'a' is among blanks too; a control glows and does not change",
        ),
        ("[[sample]]\nname = [1]", "sample[1].name: must be text"),
    ],
)
def test_each_kind_of_mistake_has_its_sentence(written, text, said):
    assert refused(written(text))[0].startswith(said)


def test_what_is_no_file_is_told(tmp_path):
    with pytest.raises(CannotReadError, match="there is no such file; check the name"):
        read_study_file(tmp_path / "none.toml")
    with pytest.raises(CannotReadError, match="is a folder; name the study file in it"):
        read_study_file(tmp_path)
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CannotReadError, match="is no TOML that can be read"):
        read_study_file(tmp_path / "b.toml")


def test_vials_are_told_by_the_file_and_failing_that_by_their_names(written):
    vials = read_study_file(written(EXAMPLE)).vials
    warm, cold = vials["MgCl2-25C-3"], vials["MgCl2-5C-1"]
    assert (warm.condition, warm.temperature_c, warm.kind, warm.batch) == ("MgCl2-25C", 25.0, "MgCl2", "B")
    assert (cold.condition, cold.temperature_c, cold.kind) == ("cold store", 5.0, "MgCl2")
    assert "control" not in vials


def test_time_zero_is_the_first_opening_where_no_start_is_told(written):
    opened = 'what = "opened"\n'
    text = f"[[event]]\nat = 2026-05-04T10:00:00\n{opened}[[event]]\nat = 2026-05-04T09:30:00\n{opened}"
    assert read_study_file(written(text)).zero == "2026-05-04T09:30:00"
    assert read_study_file(written("start = 2026-05-04T08:00:00\n" + text)).zero == "2026-05-04T08:00:00"


LAMPS = """
[shot]
lamp = "torch"
temperature_c = 22
[[lamp]]
name = "torch"
peak_nm = 365
filter = "black glass"
[[lamp]]
name = "spare"
peak_nm = 385
[[event]]
at = 2026-05-06T18:00:00
what = "lamp changed"
lamp = "spare"
[[photograph]]
file = "IMG_03*.dng"
temperature_c = 9
"""


def test_what_was_not_photographed_alike_is_flagged(written):
    study = read_study_file(written(LAMPS))
    early, late = ("a/IMG_0100.dng", "2026-05-04T10:00:00"), ("b/IMG_0200.dng", "2026-05-07T10:00:00")
    cold = ("IMG_0300.dng", "2026-05-04T11:00:00")
    assert across(study, [early, early]) == ()
    assert across(study, [early, late]) == ("across-lamps",)
    assert across(study, [early, cold]) == ("across-temperatures",)
    assert study.shot_of(*cold).temperature_c == 9
    filtered = LAMPS.replace("temperature_c = 9\n", 'filter = "orange"\n').replace(
        "[shot]", '[shot]\nfilter = "yellow"'
    )
    assert across(read_study_file(written(filtered)), [early, cold]) == ("across-filters",)
    one_peak = LAMPS.replace("peak_nm = 385", 'peak_nm = 365\nfilter = "clear glass"')
    assert across(read_study_file(written(one_peak)), [early, late]) == ("across-filters",)


def test_what_is_not_told_of_a_photograph_is_no_difference(written):
    study = read_study_file(written('[[photograph]]\nfile = "a*"\ntemperature_c = 9\n'))
    assert across(study, [("a.dng", None), ("b.dng", None)]) == ()
