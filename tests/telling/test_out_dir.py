"""The folder of a run: complete, free of folders' names, and enough to make the report again."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from glowkin.base.errors import CannotReadError
from glowkin.telling.out_dir import read_out_dir, rebuild, write_out


@pytest.fixture(scope="module")
def written(tmp_path_factory, photos, pairs, short_course, picture):
    out = tmp_path_factory.mktemp("someone") / "out"
    versions = {"numpy": "2.4"}
    settings = {"camera": "/home/someone/cam.json"}
    errors = [{"path": "/home/someone/bad.jpg", "message": "/home/someone/bad.jpg is empty."}]
    report = write_out(
        out,
        photos,
        pairs,
        short_course,
        {photos[0].path: picture},
        settings,
        "glowkin 0.1.0",
        versions,
        errors,
    )
    assert report == out / "report.html"
    return out


def test_everything_is_there_and_nothing_half_written(written):
    names = {p.relative_to(written).as_posix() for p in written.rglob("*") if p.is_file()}
    stems = {"chromaticity-1976", "chromaticity-1931", "annotated-IMG_0412.dng", "swatches-IMG_0412.dng",
             "fraction-against-time-1", "path-1976"}  # fmt: skip
    figures = {f"figures/{s}.{kind}" for s in stems for kind in ("svg", "png")}
    documents = {"measure.json", "compare.json", "track.json", "samples.csv", "compare.csv", "course.csv",
                 "course-samples.csv", "course-models.csv", "course-ratios.csv", "report.html",
                 "outlines/IMG_0412.dng.geojson"}  # fmt: skip
    preview = {n for n in names if n.startswith("figures/preview-")}
    assert names == figures | documents | preview
    assert len(preview) == 1


def test_no_file_tells_where_the_photographs_were(written):
    for path in written.rglob("*"):
        if path.is_file():
            assert b"someone" not in path.read_bytes(), path.name


def test_figures_can_be_opened(written):
    for path in (written / "figures").glob("*.svg"):
        assert ET.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314 - our own drawing
    for path in (written / "figures").glob("*.png"):
        with Image.open(path) as picture:
            assert picture.width == pytest.approx(960, abs=1)  # 4.8 in at 200 dpi


def test_the_report_is_made_again_from_the_folder_alone(written):
    before = (written / "report.html").read_text()
    (written / "report.html").unlink()
    again = rebuild(written).read_text()
    assert _without_picture(again) == _without_picture(before)
    assert "data:image/jpeg" in again


def _without_picture(html):
    """The small copy is compressed once more; all else must be equal."""
    head, _, rest = html.partition("data:image/jpeg;base64,")
    return head + rest.partition('"')[2]


def test_documents_keep_their_schema_and_carry_settings(written):
    document = json.loads((written / "measure.json").read_text())
    assert document["schema"] == "glowkin.measure.v1"
    assert document["photos"][0]["path"] == "IMG_0412.dng"
    assert document["settings"] == {"camera": "cam.json"}
    assert document["errors"] == [{"path": "bad.jpg", "message": "bad.jpg is empty."}]


def test_records_come_back_as_they_were(written, short_course, pairs):
    parts = read_out_dir(written)
    assert parts.course.samples[0].models == short_course.samples[0].models
    assert parts.pairs[0].delta_u_prime_v_prime_interval == pairs[0].delta_u_prime_v_prime_interval
    assert parts.versions == {"numpy": "2.4"}


def test_the_table_of_samples_is_tidy(written, photos):
    with (written / "samples.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [r["sample"] for r in rows] == [s.name for s in photos[0].samples]
    assert all(head.endswith(")") or head in _WORDS for head in rows[0])
    assert float(rows[0]["dominant wavelength low 95 % (nm)"]) == 608.9
    assert rows[1]["dominant wavelength high 95 % (nm)"] == ""
    assert rows[6]["u prime (1)"] == ""
    assert rows[6]["flags of the sample"] == "clipped"


_WORDS = {"photograph", "sample", "flags of the sample", "flags of the photograph", "SHA-256"}


def test_only_what_was_done_is_written(tmp_path, plain):
    write_out(tmp_path, [plain])
    assert not (tmp_path / "compare.json").exists()
    assert not (tmp_path / "track.json").exists()
    assert [p.name for p in tmp_path.glob("*.csv")] == ["samples.csv"]
    (tmp_path / "figures" / "chromaticity-1976.svg").unlink()
    assert rebuild(tmp_path).is_file()


def test_photographs_of_one_name_in_two_folders_stay_apart(tmp_path, plain):
    twins = [replace(plain, path=f"/home/someone/{d}/1.dng", sha256=d * 64) for d in "ab"]
    write_out(tmp_path, twins)
    assert [p.path for p in read_out_dir(tmp_path).photos] == ["a/1.dng", "b/1.dng"]


def test_an_empty_folder_is_refused_with_the_mend(tmp_path):
    with pytest.raises(CannotReadError, match=r"no measure\.json.*glowkin measure PHOTO\.\.\. --out DIR"):
        rebuild(tmp_path)
    with pytest.raises(CannotReadError, match=r"no measure\.json"):
        rebuild(tmp_path / "missing")


@pytest.mark.parametrize("content", ["{", "[]", '{"photos": 3}', '{"photos": [{}]}', "\x00"])
def test_a_broken_document_is_refused(tmp_path, content):
    (tmp_path / "measure.json").write_text(content)
    with pytest.raises(CannotReadError, match="measure again"):
        rebuild(tmp_path)
