"""Brackets with frames taken beside them: what of room light they leave, and when they are told not to fit.

What room light is, is written here: linear in the time of exposure, as all light on a sensor is (EMVA 1288).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cameras import exact_camera
from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.light.bracket import view
from glowkin.light.decode import open_photo
from glowkin.light.masters import correction_of, masters_of
from glowkin.scene import metadata
from glowkin.scene.cameras import LUTHER, luther_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import metered, photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import row_of_vials, with_luminance

EXACT = exact_camera(np.linalg.inv(LUTHER))
LEVELS, STEP, COUNT = (0.05, 1.0, 0.004), 4.0, 4
"""The brightest in the middle, where the lens throws its reflection on itself."""


def vials(room=0.0, width_nm=60.0):
    peaks = (520.0, 560.0, 600.0)
    spectra = {f"{p}": with_luminance(band(p, width_nm), v) for p, v in zip(peaks, LEVELS, strict=True)}
    scene = row_of_vials((420, 280), 3, 1, spectra)
    return replace(scene, halo=0.0, crosslight=0.0, surroundings_violet=0.0, room=room)


LIT = vials(0.03)
"""Room light adds about as much to the dimmest sample as it glows itself."""
START = metered(vials(), luther_camera(), Exposure(), 0.5)
TIMES = [START.exposure_s * STEP**k for k in range(COUNT)]


def taken(scene, path, seed, seconds):
    shot = photograph(scene, luther_camera(), np.random.default_rng(seed), replace(START, exposure_s=seconds))
    return (write_dng if path.suffix == ".dng" else write_jpeg)(shot, path)


def bracket(folder, scene, suffix=".dng"):
    paths = [taken(scene, folder / f"{k}{suffix}", 10 + k, t) for k, t in enumerate(TIMES)]
    return [open_photo(path) for path in paths]


def lamp_off(folder, *seconds, suffix=".dng"):
    off = LIT.lamp_off()
    return tuple(taken(off, folder / f"off{i}{suffix}", 30 + i, t) for i, t in enumerate(seconds))


def measured(photos, frames=(), camera=EXACT):
    outlines = tuple(t.outline_px for t in LIT.truths())
    return recipes.measure_view(view(photos), Settings(lamp_off=frames, outlines=outlines), camera)


def off_by(photo, truths):
    return [
        np.hypot(s.u_prime - t.u_prime, s.v_prime - t.v_prime)
        for s, t in zip(photo.samples, truths, strict=True)
    ]


@pytest.fixture(scope="module")
def lit(tmp_path_factory):
    return bracket(tmp_path_factory.mktemp("lit"), LIT)


@pytest.mark.parametrize("k", range(COUNT))
def test_a_lamp_off_frame_of_any_of_its_exposures_takes_room_light_off_all(tmp_path, lit, k):
    photo = measured(lit, lamp_off(tmp_path, TIMES[k]))
    assert "lamp-off-mismatch" not in photo.flags
    assert [e.ratio for e in photo.merged_from] == pytest.approx([STEP**i for i in range(COUNT)], rel=0.01)
    for sample, truth in zip(photo.samples, LIT.truths(), strict=True):
        error = np.array([sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime])
        assert (
            error @ np.linalg.solve(sample.u_prime_v_prime_covariance, error) < 12
        )  # 99.8 % of chi-square, 2


def test_room_light_left_in_leaves_the_dim_sample_no_colour(tmp_path, lit):
    """The same scenes without the frame: else the test above could not fail."""
    without = measured(lit).samples[2]
    assert without.u_prime is None
    assert {"room-light", "colour-not-told"} <= set(without.flags)
    assert off_by(measured(lit, lamp_off(tmp_path, TIMES[2])), LIT.truths())[2] < 0.002


def test_lamp_off_frames_beside_every_exposure_count_with_all_their_light(tmp_path, lit):
    """Counts of photons add up (their variances are their means), so the estimate of least variance is the
    sum of all counts by the sum of all times; a frame clipped all over counts for nothing.
    """
    masters = masters_of(Settings(lamp_off=lamp_off(tmp_path, *TIMES, 4000.0 * TIMES[-1])))
    for photo, seconds in zip(lit, TIMES, strict=True):
        terms = correction_of(photo, masters).terms
        assert [w for _, w in terms[:COUNT]] == pytest.approx([-seconds / sum(TIMES)] * COUNT, rel=1e-3)
        assert len(terms) == COUNT


def test_a_lamp_off_frame_of_none_of_the_exposures_is_scaled_and_flagged(tmp_path, lit):
    between = measured(lit, lamp_off(tmp_path, 2.0 * TIMES[2]))
    assert "lamp-off-mismatch" in between.flags
    assert off_by(between, LIT.truths())[2] < 0.002


def test_a_lamp_off_frame_serves_a_bracket_of_jpegs_as_well(tmp_path):
    """Against the same bracket in the dark, which has the same errors of development. Bands so wide that sRGB
    holds their colours: of others the dark cuts a channel off, which room light lifts in again.
    """
    scenes = {room: vials(room, 180.0) for room in (0.0, 0.03)}
    (tmp_path / "dark").mkdir()
    dark = measured(bracket(tmp_path / "dark", scenes[0.0], ".jpg"), camera=None)
    photos = bracket(tmp_path, scenes[0.03], ".jpg")
    lit = measured(photos, lamp_off(tmp_path, TIMES[-1], suffix=".jpg"), camera=None)
    assert "lamp-off-mismatch" not in lit.flags
    assert "colour-not-told" in measured(photos, camera=None).samples[2].flags
    for a, b in zip(lit.samples, dark.samples, strict=True):
        assert (a.u_prime, a.v_prime) == pytest.approx((b.u_prime, b.v_prime), abs=0.003)


def test_a_lamp_off_frame_that_does_not_tell_its_exposure_is_flagged(tmp_path, lit, monkeypatch):
    plain = metadata.rational
    monkeypatch.setattr(metadata, "rational", lambda v: plain(v) if v else plain(0))
    path = tmp_path / "untold.dng"
    shot = photograph(
        LIT.lamp_off(), luther_camera(), np.random.default_rng(3), replace(START, exposure_s=TIMES[1])
    )
    untold = write_dng(replace(shot, exposure=replace(shot.exposure, exposure_s=0.0, iso=0.0)), path)
    assert "lamp-off-mismatch" in measured(lit, (untold,)).flags
