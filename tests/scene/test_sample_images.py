from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import rawpy

from glowkin.scene import dng, sample_images

FOLDER = Path(__file__).parents[2] / "sample_images"


@pytest.fixture(scope="module")
def answers() -> dict:  # type: ignore[type-arg]
    return json.loads((FOLDER / "answers.json").read_text(encoding="utf-8"))


def test_the_folder_is_small_enough_to_travel_with_the_program() -> None:
    assert 1e6 < sum(p.stat().st_size for p in FOLDER.rglob("*") if p.is_file()) < 12e6


def test_there_is_a_photograph_for_every_time(answers: dict) -> None:  # type: ignore[type-arg]
    names = sorted(p.name for p in (FOLDER / "series").iterdir())
    assert len(names) == len(answers["series"]["times_h"]) == 12
    assert names[0] == "2026-05-04T09-00-00.dng"
    assert names[-1] == "2026-05-16T09-00-00.dng"


def test_the_committed_photographs_are_those_the_program_writes() -> None:
    # within a few codes, since another build of the mathematics may round differently
    shot = sample_images.side_by_side(sample_images.sample_camera())
    with rawpy.imread(str(FOLDER / "side_by_side.dng")) as raw:
        kept = raw.raw_image_visible.astype(int)
    assert np.mean(np.abs(kept - shot.codes)) < 3.0
    assert dng.dng_bytes(shot) == dng.dng_bytes(sample_images.side_by_side(shot.camera))


def test_nothing_clips_and_the_blank_is_dark() -> None:
    shot = sample_images.side_by_side(sample_images.sample_camera())
    assert shot.codes.max() < shot.camera.white
    x, y = (round(v) for v in shot.truths[-1].centre_px)
    dark = shot.codes[y - 20 : y + 20, x - 20 : x + 20].astype(float) - shot.camera.black
    assert dark.mean() < 0.005 * shot.camera.white


def test_the_story_is_told_as_planned(answers: dict) -> None:  # type: ignore[type-arg]
    # the demo's scenario: half-times, exponent, where the tight cap stops; all invented
    vials = answers["series"]["vials"]
    halves = {
        s: [v["half_time_h"] for v in vials if v["name"].startswith(s)] for s in ("MgCl2-25C", "capped")
    }
    cold = [v["half_time_h"] for v in vials if v["name"].startswith("MgCl2-5C")]
    assert len(vials) == 15
    assert halves["MgCl2-25C"] == pytest.approx([6.0] * 3, rel=0.12)
    assert halves["capped"] == pytest.approx([216.0] * 3, rel=0.12)
    assert cold == pytest.approx([82.0] * 3, rel=0.12)
    assert {v["luminance_ratio"] for v in vials} == {10.0}
    assert [v["stops_at"] for v in vials if v["name"].startswith("tight")] == pytest.approx(
        [0.987] * 3, abs=0.004
    )
    assert all(v["fraction_start"] == [1.0] * 12 for v in vials if v["name"].startswith("NaCl"))


def test_everything_says_that_it_is_invented(answers: dict) -> None:  # type: ignore[type-arg]
    assert "invented" in answers["note"]
    assert "invented" in (FOLDER / "README.md").read_text(encoding="utf-8")


def test_a_wrong_call_prints_its_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert sample_images.main([]) == 2
    assert "OUT_DIR" in capsys.readouterr().err
