"""What a report on a study tells beside its measurements, made fit to be published."""

from __future__ import annotations

import pytest

from glowkin.base.records import CameraUsed, MeasuredPhoto
from glowkin.base.study import PhotographTold, Shot, StudyFile, StudySample
from glowkin.telling.study_page import parts
from glowkin.telling.study_told import StudyTold


def photo(hour):
    shot = f"2026-05-04T{hour}:00:00", 0.5, 100.0, 4.0, "raw", (6000, 4000)
    camera = CameraUsed("invented", "generic")
    return MeasuredPhoto(f"{hour}.dng", hour * 32, *shot, camera, "E", (1 / 3, 1 / 3), 2, (), ())


def page(file):
    told = StudyTold("Drying", "2026-05-04T09:00:00", file)
    shots = [photo("09"), photo("12")]
    return parts(told, shots, None, [], "", "glowkin 0", {}, lambda *_: None)


@pytest.mark.parametrize(
    ("own", "words"),
    [
        ((), "with samples at 22 °C."),
        ((PhotographTold(file="12*", temperature_c=5.0),), "with samples at 5 to 22 °C."),
    ],
)
def test_methods_tell_the_temperatures_of_all_photographs(own, words):
    assert words in page(StudyFile(shot=Shot(temperature_c=22.0), photograph=own)).methods


def test_notes_of_the_study_file_lose_their_folders():
    (table,) = page(StudyFile(sample=(StudySample(name="vial", notes="as in /home/someone/old.txt"),))).told
    assert table.rows == (("vial", "as in old.txt"),)
