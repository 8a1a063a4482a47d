"""A study from Python: what the commands do, with records that show as tables in a notebook."""

from __future__ import annotations

import pytest

import glowkin
from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.base.html_table import Rows
from glowkin.base.records import Ratio


@pytest.fixture
def made(photos, tmp_path):
    study = glowkin.Study.new(tmp_path / "reds", title="Reds <b>")
    study.add(photos, names=["left", "right", "green"])
    return study


def test_it_does_what_the_commands_do(made, photos, run):
    rows = made.photographs()
    assert [(r.status, r.samples) for r in rows] == [("measured", 3)] * 3
    assert made.add(photos, names=["left", "right", "green"]) == rows
    assert [(r.name, r.photographs) for r in made.samples()] == [("green", 3), ("left", 3), ("right", 3)]
    assert [r.name for r in made.sample("left")] == ["left"] * 3
    assert made.measured("09.jpg").sample("green").u_prime == made.sample("green")[0].u_prime
    pair = made.compare(["09.jpg"], pairs=[("left", "green")])
    assert [p.verdict for p in pair] == ["different"]
    assert {s.name for s in made.track().samples} == {"left", "right", "green"}
    assert "left and green" in made.report().read_text("utf-8")
    assert "Conclusions" in run("show", made.folder).stdout


def test_it_shows_as_a_table_with_every_text_escaped(made):
    page = made._repr_html_()
    assert "Reds &lt;b&gt;: 3 photographs, 3 measured; 9 samples." in page
    assert page.count("<tr>") == 4
    for rows in (made.photographs(), made.samples(), made.sample("left")):
        assert rows._repr_html_().count("<tr>") == 1 + len(rows)


def test_rows_show_all_fields_or_those_chosen():
    rows = Rows([Ratio(1.5, 1.0, None)])
    assert rows._repr_html_() == (
        "<table><thead><tr><th>value</th><th>low</th><th>high</th></tr></thead>"
        "<tbody><tr><td>1.5</td><td>1</td><td></td></tr></tbody></table>"
    )
    assert "<th>low</th>" not in Rows(rows, ("value",))._repr_html_()
    assert Rows()._repr_html_() == "<table><thead><tr></tr></thead><tbody></tbody></table>"


def test_what_cannot_be_measured_is_named_once_the_others_are_kept(tmp_path, photos):
    study = glowkin.Study.new(tmp_path / "s")
    (photos / "bad.jpg").write_bytes(b"\xff\xd8\xff\xe0nothing")
    with pytest.raises(CannotMeasureError, match=r"00\.jpg: no such file[^\0]*bad\.jpg"):
        study.add([photos / "00.jpg", photos])
    with pytest.raises(WrongUseError, match="--white-point"):
        study.add(photos, white_point="blue")
    assert [r.status for r in study.photographs()].count("measured") == 3


def test_a_folder_without_a_study_and_one_with_are_told(tmp_path, made):
    with pytest.raises(CannotReadError, match="begin a study with"):
        glowkin.Study(tmp_path / "none")
    with pytest.raises(WrongUseError, match="is a study already"):
        glowkin.Study.new(made.folder)
    assert repr(glowkin.Study(made.folder)).startswith("Study('reds'): Reds <b>: 3 photographs")
