from __future__ import annotations

import json
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest

from glowkin.base import records
from glowkin.base.records import (
    CameraUsed,
    Comparison,
    MeasuredPhoto,
    ModelFit,
    Place,
    Ratio,
    Sample,
    SampleCourse,
    TimeCourse,
    TrackPoint,
)
from glowkin.base.storages import CourseComparison

# Keys fixed in the documented records.
PHOTO_KEYS = [
    "path",
    "sha256",
    "taken_at",
    "exposure_s",
    "iso",
    "f_number",
    "kind",
    "size_px",
    "camera",
    "flags",
    "samples",
]
SAMPLE_KEYS = [
    "name",
    "centre_px",
    "area_px",
    "outline_px",
    "u_prime",
    "v_prime",
    "u_prime_v_prime_covariance",
    "shared_errors",
    "x",
    "y",
    "luminance_relative",
    "luminance_per_exposure",
    "dominant_wavelength_nm",
    "dominant_wavelength_interval_nm",
    "complementary_wavelength_nm",
    "complementary_wavelength_interval_nm",
    "excitation_purity",
    "excitation_purity_interval",
    "hue_angle_uv_deg",
    "saturation_uv",
    "band_centre_nm",
    "band_centre_interval_nm",
    "band_width_nm",
    "band_width_interval_nm",
    "unevenness_u_prime_v_prime",
    "clipped_fraction",
    "flags",
]
PAIR_KEYS = [
    "a",
    "b",
    "delta_u_prime_v_prime",
    "delta_u_prime_v_prime_interval",
    "n_step",
    "delta_dominant_wavelength_nm",
    "delta_dominant_wavelength_interval_nm",
    "delta_e_2000",
    "delta_e_2000_white",
    "tolerance_u_prime_v_prime",
    "probability_within_tolerance",
    "verdict",
]
COURSE_KEYS = [
    "name",
    "verdict",
    "two_forms_suffice",
    "luminance_ratio",
    "stops_at",
    "model",
    "not_excluded",
    "half_time_s",
    "half_time_interval_s",
    "light_half_time_s",
    "longer_than_s",
    "models",
    "points",
]
POINT_KEYS = [
    "time_s",
    "path",
    "fraction_start",
    "low",
    "high",
    "light_fraction_start",
    "u_prime",
    "v_prime",
    "luminance_relative",
    "flags",
]

SAMPLE = Sample(
    "<red> & co", (10.5, 20.0), 314.0, ((1.0, 2.0), (3.0, 2.0), (2.0, 4.0)), 0.45, 0.52,
    ((1e-5, 2e-6), (2e-6, 3e-5)), {"camera": ((1e-3, 0.0), (0.0, 2e-3))}, 0.6, 0.35, 1.0,
    dominant_wavelength_nm=612.5, dominant_wavelength_interval_nm=(609.0, 616.0),
    linear_rgb=(0.4, 0.1, 0.02), linear_rgb_covariance=((1e-6, 0, 0), (0, 1e-6, 0), (0, 0, 1e-6)),
    flags=("lamp-leakage",),
)  # fmt: skip
PHOTO = MeasuredPhoto(
    "evening.dng", "ab" * 32, "2026-05-04T13:30:00+02:00", 0.5, 100.0, 4.0, "raw", (600, 400),
    CameraUsed("Invented 1", "generic", (0.3, 0.6, 0.1)), "E", (1 / 3, 1 / 3), 2, ("time-missing",),
    (SAMPLE, replace(SAMPLE, name="dark", u_prime=None, v_prime=None, shared_errors=None)),
)  # fmt: skip
PAIR = Comparison(
    Place("a.dng", "x"), Place("b.dng", "y"), 0.01, (0.008, 0.012), 9.1, -3.0, (-4.0, -2.0), None, None,
    0.0033, 0.0, "different",
)  # fmt: skip
COURSE = TimeCourse(
    (
        SampleCourse(
            "x", "changing", True, Ratio(10.0, 8.0, None), 0.1, "first-order", ("first-order", "zero-order"),
            3600.0, (3000.0, None), 500.0, None,
            (ModelFit("first-order", {"k": 1e-4}, -12.0, 3600.0, (3000.0, None)),),
            (TrackPoint(0.0, "a.dng", 1.0, 0.9, 1.0, 1.0, 0.4, 0.5, 1.0, ("clipped",)),),
            (0.05, 0.2), ("single-vial",),
        ),
        SampleCourse(
            "y", "cannot tell", None, None, None, None, (), None, None, None, None, (), (),
        ),
    ),
    (CourseComparison("x", "y", 2.0, (1.5, 2.5), "slower"),), "control", None, ("no-start-time",),
)  # fmt: skip


def through_text(document: Any) -> Any:
    return json.loads(json.dumps(document, allow_nan=False))


def test_measured_photographs_come_back_the_same_from_json():
    document = through_text(records.measure_document([PHOTO], [], "glowkin 1"))
    assert records.photos_from_json(document) == [PHOTO]
    assert document["schema"] == "glowkin.measure.v1"


def test_comparisons_come_back_the_same_from_json():
    document = through_text(records.compare_document([PAIR], [], "glowkin 1"))
    assert records.pairs_from_json(document) == [PAIR]
    assert document["schema"] == "glowkin.compare.v1"


def test_time_courses_come_back_the_same_from_json():
    document = through_text(records.track_document(COURSE, [], "glowkin 1"))
    assert records.course_from_json(document) == COURSE
    assert document["schema"] == "glowkin.track.v1"


def test_the_documents_hold_every_documented_key():
    photo = through_text(records.measure_document([PHOTO], [], "g"))["photos"][0]
    assert set(PHOTO_KEYS) <= set(photo)
    assert set(SAMPLE_KEYS) <= set(photo["samples"][0])
    assert {"name", "basis"} <= set(photo["camera"])
    assert set(PAIR_KEYS) <= set(through_text(records.compare_document([PAIR], [], "g"))["pairs"][0])
    course = through_text(records.track_document(COURSE, [], "g"))
    assert set(COURSE_KEYS) <= set(course["samples"][0])
    assert set(POINT_KEYS) <= set(course["samples"][0]["points"][0])
    assert {"model", "parameters", "aicc", "half_time_s", "half_time_interval_s"} <= set(
        course["samples"][0]["models"][0]
    )
    assert {"a", "b", "half_time_ratio", "interval", "verdict"} <= set(course["comparisons"][0])


def test_keys_of_later_versions_are_passed_over():
    document = through_text(records.measure_document([PHOTO], [], "g"))
    document["photos"][0]["later"] = document["photos"][0]["camera"]["later"] = 1
    document["photos"][0]["samples"][0]["later"] = [1]
    assert records.photos_from_json(document) == [PHOTO]


def test_a_sample_is_found_by_its_name():
    assert PHOTO.sample("dark") is PHOTO.samples[1]
    assert PHOTO.sample("bright") is None
    assert COURSE.sample("y") is COURSE.samples[1]


def test_rows_are_plain_and_one_a_sample():
    assert [row["name"] for row in PHOTO.rows()] == ["<red> & co", "dark"]
    assert [row["a"] for row in PAIR.rows()] == ["x"]
    assert [(row["name"], row["time_s"]) for row in COURSE.rows()] == [("x", 0.0)]
    through_text([PHOTO.rows(), PAIR.rows(), COURSE.rows()])


@pytest.mark.parametrize("record", [PHOTO, PAIR, COURSE], ids=lambda r: type(r).__name__)
def test_the_notebook_table_escapes_names(record):
    html = record._repr_html_()
    assert html.startswith("<table>")
    assert "<red>" not in html
    assert "None" not in html


def test_every_record_is_frozen():
    found = [v for v in vars(records).values() if is_dataclass(v) and isinstance(v, type)]
    assert len(found) >= 10
    for kind in found:
        assert kind.__dataclass_params__.frozen, kind
        assert fields(kind)
