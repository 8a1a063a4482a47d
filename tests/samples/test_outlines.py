from __future__ import annotations

import json

import numpy as np
import pytest

from glowkin.base.errors import CannotReadError
from glowkin.demo import sample_images
from glowkin.recipes import measure
from glowkin.samples.outlines import outlines_text, read_outlines

SQUARE = [[0, 0], [10, 0], [10.5, 10], [0, 10], [0, 0]]


def feature(ring, name=None, kind="Polygon"):
    properties = None if name is None else {"name": name}
    return {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": [ring]}}


@pytest.fixture
def write(tmp_path):
    def to_file(document):
        path = tmp_path / "o.geojson"
        path.write_text(document if isinstance(document, str) else json.dumps(document), "utf-8")
        return path

    return to_file


def collection(*features):
    return {"type": "FeatureCollection", "features": list(features)}


def test_polygons_are_read_in_order_without_their_closing_point(write):
    # RFC 7946, 3.1.6: the first and last positions are equal; open rings are let pass
    outlines, names = read_outlines(write(collection(feature(SQUARE, "red"), feature(SQUARE[:4], "grün"))))
    assert outlines == (((0.0, 0.0), (10.0, 0.0), (10.5, 10.0), (0.0, 10.0)),) * 2
    assert names == ("red", "grün")


def test_names_count_only_if_every_outline_has_one(write):
    assert read_outlines(write(collection(feature(SQUARE, "red"), feature(SQUARE))))[1] == ()
    assert read_outlines(write(collection(feature(SQUARE))))[1] == ()


def test_heights_in_positions_are_passed_over(write):
    ring = [[x, y, 7] for x, y in SQUARE]
    assert read_outlines(write(collection(feature(ring))))[0][0][2] == (10.5, 10.0)


@pytest.mark.parametrize(
    ("document", "words"),
    [
        ("not json", "not a GeoJSON file .*; save polygons as GeoJSON"),
        ([1, 2], "holds no features; a GeoJSON FeatureCollection of Polygons is needed"),
        (collection(), "holds no features"),
        (collection(feature(SQUARE, kind="LineString")), "feature 1 is not a Polygon of at least three"),
        (collection(feature(SQUARE), feature(SQUARE[:2])), "feature 2 is not a Polygon"),
        (collection({"type": "Feature", "geometry": None}), "feature 1 is not a Polygon"),
        (collection(7), "feature 1 is not a Polygon"),
        (collection(feature([["a", "b"]] * 4)), "feature 1 is not a Polygon"),
        (collection(feature([])), "feature 1 is not a Polygon"),
        ('{"features": [{"geometry": {"type": "Polygon", "coordinates": [[[NaN, 1], [2, 3], [4, 9]]]}}]}',
         "feature 1 has a corner that is no pixel of any photograph"),
        (collection(feature([[0, 0], [1e12, 0], [5, 5]])), "feature 1 has a corner that is no pixel"),
        (collection(feature(SQUARE, "a"), feature(SQUARE, "a")), "two features have the same name"),
        (collection(feature(SQUARE, "a\nb")), r"the name 'a\\nb' holds a line break"),
        (collection({"geometry": {"type": "Polygon", "coordinates": [SQUARE] * 2}}), "feature 1 has a hole"),
    ],
)  # fmt: skip
def test_files_of_another_kind_are_refused_in_words(write, document, words):
    with pytest.raises(CannotReadError, match=rf"o\.geojson: {words}"):
        read_outlines(write(document))


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(CannotReadError, match="no such file; check the name and the folder"):
        read_outlines(tmp_path / "none.geojson")


def test_written_outlines_come_back_and_what_was_rejected_does_not(tmp_path):
    photo = measure(sample_images() / "side_by_side.dng")
    path = tmp_path / "o.geojson"
    path.write_text(outlines_text(photo), "utf-8")
    outlines, names = read_outlines(path)
    assert names == tuple(s.name for s in photo.samples)
    for outline, sample in zip(outlines, photo.samples, strict=True):
        assert np.array(outline) == pytest.approx(np.array(sample.outline_px), abs=0.051)
    assert len(photo.rejected) == sum("rejected" in line for line in path.read_text("utf-8").splitlines())


def test_a_file_of_rejected_places_only_says_so(write):
    document = collection({**feature(SQUARE), "properties": {"rejected": "it is a label"}})
    with pytest.raises(CannotReadError, match="only what was rejected; draw the outline"):
        read_outlines(write(document))
