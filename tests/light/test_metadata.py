from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL.TiffImagePlugin import IFDRational

from glowkin.light.decode import open_photo
from glowkin.light.metadata import Metadata, time_in_name
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure

CODES = np.zeros((40, 60, 3), np.uint8)


@pytest.mark.parametrize("write", [write_dng, write_jpeg])
def test_exposure_time_and_zone_are_read_and_the_place_is_never_taken_up(tmp_path, scene, write):
    exposure = Exposure(
        exposure_s=1 / 8, f_number=5.6, iso=200, utc_offset="+02:00", position=(52.5, 13.25),
        serial_number="SN-4711",
    )  # fmt: skip
    shot = photograph(scene, default_camera(), np.random.default_rng(1), exposure)
    suffix = ".dng" if write is write_dng else ".jpg"
    photo = open_photo(write(shot, tmp_path / f"a{suffix}"))
    metadata = photo.metadata
    assert metadata.taken_at == "2026-05-04T12:00:00+02:00"
    assert (metadata.exposure_s, metadata.iso) == (pytest.approx(0.125), 200)
    assert metadata.f_number == pytest.approx(5.6)
    assert metadata.automatic_white_balance is False
    assert (metadata.make, metadata.model) == ("Invented", "Scene Camera 1")
    assert "4711" not in repr(metadata)
    assert not any(word in name for name in Metadata.__dataclass_fields__ for word in ("gps", "serial"))


def read(path):
    return open_photo(path).metadata


def test_the_original_time_comes_before_the_files_date(jpeg_of):
    both = {"tags": {0x0132: "2026:05:05 10:00:00"}, "taken": {0x9003: "2026:05:04 09:30:15"}}
    assert read(jpeg_of(CODES, **both)).taken_at == "2026-05-04T09:30:15"
    assert read(jpeg_of(CODES, tags=both["tags"])).taken_at == "2026-05-05T10:00:00"
    zoned = {"tags": both["tags"], "taken": {0x9010: "-05:00"}}
    assert read(jpeg_of(CODES, **zoned)).taken_at == "2026-05-05T10:00:00-05:00"


@pytest.mark.parametrize(
    "nonsense", ["0000:00:00 00:00:00", "    :  :     :  :  ", "yesterday", "2026:13:01 00:00:00"]
)
def test_a_time_that_is_none_is_unknown(jpeg_of, nonsense):
    assert read(jpeg_of(CODES, taken={0x9003: nonsense})).taken_at is None


@pytest.mark.parametrize(
    ("name", "time"),
    [
        ("2026-05-04T13-30-00.jpg", "2026-05-04T13:30:00"),
        ("IMG_20260504_133015.jpg", "2026-05-04T13:30:15"),
        ("PXL_20260504_133015123.jpg", "2026-05-04T13:30:15"),
        ("vial 2 2026-05-04 13.30.jpg", "2026-05-04T13:30:00"),
        ("20260504T1330.dng", "2026-05-04T13:30:00"),
        ("20261304_133015.jpg", None),
        ("20260504_256015.jpg", None),
        ("DSC_0042.jpg", None),
        ("1234567890123456.jpg", None),
    ],
)
def test_the_time_in_a_name(name, time):
    assert time_in_name(name) == time


def test_the_name_is_the_last_resort_and_the_file_system_none(jpeg_of):
    path = jpeg_of(CODES, "2026-05-04T13-30-00.jpg")
    assert read(path).taken_at == "2026-05-04T13:30:00"
    plain = jpeg_of(CODES, "plain.jpg")
    os.utime(plain, (1_700_000_000, 1_700_000_000))
    assert read(plain).taken_at is None


@pytest.mark.parametrize("value", [IFDRational(0, 1), IFDRational(1, 0), IFDRational(0, 0)], ids=str)
def test_rationals_that_mean_nothing_are_unknown(jpeg_of, value):
    metadata = read(jpeg_of(CODES, taken={0x829A: value, 0x829D: value}))
    assert (metadata.exposure_s, metadata.f_number) == (None, None)


@pytest.mark.parametrize(("told", "flagged"), [({0xA403: 0}, True), ({0xA403: 1}, False), ({}, True)])
def test_white_balance_counts_as_automatic_unless_the_file_says_otherwise(jpeg_of, told, flagged):
    flags = open_photo(jpeg_of(CODES, taken=told)).flags
    assert ("automatic-white-balance" in flags) is flagged


@pytest.mark.parametrize(
    ("told", "flagged"), [({0xA401: 3}, True), ({0xA401: 1}, False), ({0xA401: 0}, False), ({}, False)]
)
def test_merged_frames_are_flagged(jpeg_of, told, flagged):
    assert ("merged-by-phone" in open_photo(jpeg_of(CODES, taken=told)).flags) is flagged


def test_paths_may_be_text(jpeg_of):
    assert open_photo(str(jpeg_of(CODES))).path == Path(jpeg_of(CODES))
