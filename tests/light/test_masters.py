"""Frames taken beside a photograph: what they take off, what they refuse, how often they are read."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest

from cameras import exact_camera
from glowkin import recipes
from glowkin.base.errors import CannotMeasureError, CannotReadError
from glowkin.base.records import measure_document, photos_from_json
from glowkin.base.settings import Settings
from glowkin.light import masters as masters_room
from glowkin.light.bracket import view
from glowkin.light.decode import open_photo
from glowkin.light.mismatch import _times
from glowkin.scene.cameras import LUTHER, default_camera, luther_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import emitters, planck
from glowkin.scene.stage import Scene, SceneSample, Shape, plain_scene, random_scene

EXACT = exact_camera(np.linalg.inv(LUTHER))
SETTINGS = Exposure(0.2, 4.0, 100.0)
DARK = {"violet": (0.0, 0.0), "surroundings_violet": 0.0, "halo": (0.0, 0.0)}


def scene_of(seed=0, n=4, **options):
    rng = np.random.default_rng([seed, 3])
    return replace(random_scene(rng, n, size_px=(600, 420), **{**DARK, **options}), crosslight=0.0)


def taken(scene, path, seed=1, exposure=SETTINGS, camera=None):
    shot = photograph(scene, camera or luther_camera(), np.random.default_rng(seed), exposure)
    return (write_dng if path.suffix == ".dng" else write_jpeg)(shot, path), shot.truths


def errors_of(measured, truths):
    out = []
    for sample in measured.samples:
        truth = min(truths, key=lambda t: np.hypot(*np.subtract(t.centre_px, sample.centre_px)))
        out.append(np.hypot(sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime))
    return np.array(out)


def test_a_lamp_off_frame_brings_the_colours_of_the_dark_back(tmp_path):
    scene = scene_of()
    lit = replace(scene, room=0.2)
    dark, truths = taken(scene, tmp_path / "dark.dng")
    photo, _ = taken(lit, tmp_path / "lit.dng")
    off, _ = taken(lit.lamp_off(), tmp_path / "off.dng", seed=2)
    without = errors_of(recipes.measure(photo, camera=EXACT), truths)
    measured = recipes.measure(photo, Settings(lamp_off=(off,)), EXACT)
    assert len(measured.samples) == 4
    assert np.median(without) > 0.003
    assert np.median(errors_of(measured, truths)) < 0.0015
    assert np.median(errors_of(recipes.measure(dark, camera=EXACT), truths)) < 0.001
    assert "lamp-off-mismatch" not in measured.flags
    assert not any("room-light" in s.flags for s in measured.samples)


def test_several_lamp_off_frames_carry_less_noise_than_one(tmp_path):
    even = tuple(replace(s, texture=0.0) for s in scene_of(n=2).samples)
    lit = replace(scene_of(n=2), samples=even, room=1.0)
    photo, _ = taken(lit, tmp_path / "lit.dng", exposure=replace(SETTINGS, exposure_s=0.02))
    frames = [
        taken(lit.lamp_off(), tmp_path / f"off{i}.dng", seed=i, exposure=replace(SETTINGS, exposure_s=0.02))[
            0
        ]
        for i in range(5)
    ]
    one, five = (recipes.measure(photo, Settings(lamp_off=tuple(f))) for f in (frames[:1], frames))
    spread = [np.trace(m.samples[0].linear_rgb_covariance) for m in (one, five)]
    assert spread[1] < 0.85 * spread[0]


def test_a_lamp_off_frame_of_half_the_exposure_is_scaled_and_flagged(tmp_path):
    lit = replace(scene_of(), room=0.2)
    photo, truths = taken(lit, tmp_path / "lit.dng")
    off, _ = taken(lit.lamp_off(), tmp_path / "off.dng", 2, replace(SETTINGS, exposure_s=0.1))
    measured = recipes.measure(photo, Settings(lamp_off=(off,)), EXACT)
    assert np.median(errors_of(measured, truths)) < 0.002
    assert "lamp-off-mismatch" in measured.flags


@pytest.mark.parametrize("suffix", [".dng", ".jpg"])
@pytest.mark.parametrize(("shift", "flagged"), [(0.0, False), (9.0, True)])
def test_a_camera_that_moved_before_the_lamp_off_frame_is_flagged(tmp_path, suffix, shift, flagged):
    lit = replace(scene_of(), room=0.1)
    photo, _ = taken(lit, tmp_path / f"lit{suffix}")
    moved = replace(lit.lamp_off(), placement=((1.0, 0.0, shift), (0.0, 1.0, 0.5 * shift)))
    off, _ = taken(moved, tmp_path / f"off{suffix}", 2)
    flags = recipes.measure(photo, Settings(lamp_off=(off,))).flags
    assert ("lamp-off-mismatch" in flags) is flagged


def test_a_dark_lamp_off_frame_changes_nothing_and_matches(tmp_path):
    scene = scene_of()
    photo, _ = taken(scene, tmp_path / "a.dng")
    off, _ = taken(scene.lamp_off(), tmp_path / "off.dng", 2)
    plain, with_off = recipes.measure(photo), recipes.measure(photo, Settings(lamp_off=(off,)))
    assert with_off.flags == plain.flags
    for a, b in zip(plain.samples, with_off.samples, strict=True):
        assert b.linear_rgb == pytest.approx(a.linear_rgb, abs=2e-4)


def test_what_the_sensor_adds_by_itself_is_taken_off(tmp_path):
    """A veil that the black level does not tell of, as a leaking shutter makes it."""
    camera = luther_camera()
    shot = photograph(scene_of(), camera, np.random.default_rng(1), SETTINGS)
    capped = photograph(replace(scene_of(), samples=()), camera, np.random.default_rng(2), SETTINGS)
    clean = recipes.measure(write_dng(shot, tmp_path / "clean.dng"))
    leak = np.linspace(0, 400, shot.codes.shape[1]).astype(np.uint16)
    leaky = write_dng(replace(shot, codes=shot.codes + leak), tmp_path / "leaky.dng")
    dark = write_dng(replace(capped, codes=capped.codes + leak), tmp_path / "dark.dng")
    mended = recipes.measure(leaky, Settings(lens_capped=(dark,)))
    for a, b in zip(clean.samples, mended.samples, strict=True):
        assert b.linear_rgb == pytest.approx(a.linear_rgb, abs=3e-4)


def test_what_the_sensor_adds_by_itself_is_no_room_light(tmp_path):
    """All frames hold one veil: what the lamp-off frame holds above the capped one is the room's."""
    camera, rng = luther_camera(), np.random.default_rng(3)
    scene = replace(scene_of(), room=0.1)
    shots = {
        "a": photograph(scene, camera, rng, SETTINGS),
        "off": photograph(scene.lamp_off(), camera, rng, SETTINGS),
        "dark": photograph(replace(scene_of(), samples=(), surroundings_albedo=0.0), camera, rng, SETTINGS),
    }
    leaky = {
        name: write_dng(replace(shot, codes=shot.codes + np.uint16(400)), tmp_path / f"{name}.dng")
        for name, shot in shots.items()
    }
    clean = write_dng(shots["off"], tmp_path / "clean.dng")
    photo = masters_room.open_photo(leaky["a"])
    frame, outlines = masters_room.reduced(photo), [np.array(t.outline_px) for t in scene.truths()]

    def room(**frames):
        masters = masters_room.masters_of(Settings(**frames))
        return masters_room.room_light(masters_room.correction_of(photo, masters), frame, outlines)

    truly = room(lamp_off=(clean,))
    assert truly.min() > 1e-4
    assert not room(lens_capped=(leaky["dark"],)).any()
    both = room(lamp_off=(leaky["off"],), lens_capped=(leaky["dark"],))
    assert both == pytest.approx(truly, abs=2e-4)
    assert (room(lamp_off=(leaky["off"],)) > truly + 0.02).all()


def test_a_flat_evens_brightness_and_leaves_the_colour(tmp_path):
    """Two equal samples, one in the lamp's corner; the flat is lit by a tungsten lamp, orange as it is."""
    spots = [(120.0, 210.0), (540.0, 60.0)]
    samples = tuple(
        SceneSample(str(i), Shape("spot", centre, 40.0), emitters()["green"], texture=0.0)
        for i, centre in enumerate(spots)
    )
    fading = {"lamp_unevenness": 0.4, "vignetting": 0.3, "halo": 0.0, "crosslight": 0.0}
    scene = Scene((600, 420), samples, surroundings_violet=0.0, **fading)
    photo, truths = taken(scene, tmp_path / "a.dng")
    sheet = Shape("spot", (300.0, 210.0), 900.0)
    lit = Scene((600, 420), (SceneSample("sheet", sheet, planck(2856.0), texture=0.0),), **fading)
    flat, _ = taken(lit, tmp_path / "flat.dng", exposure=replace(SETTINGS, exposure_s=2.0))
    plain = recipes.measure(photo, camera=EXACT)
    evened = recipes.measure(photo, Settings(flat=(flat,)), EXACT)
    assert min(s.luminance_relative for s in plain.samples) < 0.8
    assert min(s.luminance_relative for s in evened.samples) == pytest.approx(1.0, abs=0.04)
    assert errors_of(evened, truths).max() < 0.002


def test_a_blank_tells_the_lamps_light_where_each_sample_stands(tmp_path):
    scene = scene_of(violet=(0.03, 0.05), surroundings_violet=0.002)
    photo, truths = taken(scene, tmp_path / "a.dng")
    dark = tuple(replace(s, radiance=np.zeros(471)) for s in scene.samples)
    blank, _ = taken(replace(scene, samples=dark), tmp_path / "blank.dng", 2)
    without = recipes.measure(photo, camera=EXACT)
    measured = recipes.measure(photo, Settings(blank=(blank,)), EXACT)
    assert np.median(errors_of(measured, truths)) < 0.5 * np.median(errors_of(without, truths))


def test_frames_are_named_in_the_record_and_read_back(tmp_path):
    scene = scene_of(n=1)
    photo, _ = taken(scene, tmp_path / "a.dng")
    off, _ = taken(scene.lamp_off(), tmp_path / "off.dng", 2)
    measured = recipes.measure(photo, Settings(lamp_off=(off,)))
    (used,) = measured.frames
    assert (used.kind, used.path, len(used.sha256)) == ("lamp-off", str(off), 64)
    assert photos_from_json(measure_document([measured], [], "glowkin"))[0].frames == (used,)


def test_frames_are_decoded_once_and_again_when_the_file_changes(tmp_path, monkeypatch):
    scene, opened = scene_of(n=1), []
    off, _ = taken(scene.lamp_off(), tmp_path / "off.dng", 2)
    real = masters_room.open_photo
    monkeypatch.setattr(masters_room, "open_photo", lambda path: opened.append(path) or real(path))
    first = masters_room.masters_of(Settings(lamp_off=(off,)))
    assert masters_room.masters_of(Settings(lamp_off=(str(off),))) is first
    assert len(opened) == 1
    os.utime(off, (1, 1))
    masters_room.masters_of(Settings(lamp_off=(off,)))
    assert len(opened) == 2
    assert masters_room.masters_of(Settings()) is None


def _other_size(scene, path):
    return taken(replace(scene, size_px=(300, 200)), path)[0]


def _other_camera(scene, path):
    return taken(scene, path, camera=default_camera())[0]


@pytest.mark.parametrize(
    ("make", "name", "said"),
    [
        (_other_size, "off.dng", r"of another size \(300 x 200 pixels, not 600 x 420 pixels\)"),
        (_other_camera, "off.dng", r"of another camera \(.*Scene Camera 1.*Scene Camera L\)"),
        (lambda s, p: taken(s, p)[0], "off.jpg", r"of another file \(developed by the camera, not raw\)"),
    ],
)
def test_a_frame_that_cannot_be_laid_on_the_photograph_is_refused(tmp_path, make, name, said):
    scene = scene_of(n=1)
    photo, _ = taken(scene, tmp_path / "a.dng")
    off = make(scene.lamp_off(), tmp_path / name)
    with pytest.raises(CannotMeasureError, match=rf"a\.dng: the lamp-off frame .* is {said}; take both"):
        recipes.measure(photo, Settings(lamp_off=(off,)))


def test_a_missing_frame_is_named_with_its_option(tmp_path):
    photo, _ = taken(scene_of(n=1), tmp_path / "a.dng")
    with pytest.raises(CannotReadError, match=r"--blank: .*none\.dng: no such file"):
        recipes.measure(photo, Settings(blank=(tmp_path / "none.dng",)))


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (120.4, "120 times more"),
        (9.96, "10 times more"),
        (4.0, "4 times more"),
        (1 / 2.83, "2.8 times less"),
        (1.03, "1.03 times more"),
        (2.4e6, "2400000 times more"),
    ],
)
def test_ratios_of_exposures_are_told_in_plain_figures(ratio, words):
    assert _times(ratio) == words


@pytest.mark.parametrize(("seconds", "said"), [(60.0, "clipped"), (0.002, "darker than 2 % of the scale")])
def test_a_flat_too_bright_or_too_dark_is_refused(tmp_path, seconds, said):
    photo, _ = taken(scene_of(n=1), tmp_path / "a.dng")
    sheet = plain_scene((600, 420), [planck(5000.0)])
    large = replace(sheet.samples[0], shape=Shape("spot", (300.0, 210.0), 900.0))
    flat, _ = taken(
        replace(sheet, samples=(large,)), tmp_path / "f.dng", 1, replace(SETTINGS, exposure_s=seconds)
    )
    with pytest.raises(CannotMeasureError, match=rf"f\.dng: this flat is {said}"):
        recipes.measure(photo, Settings(flat=(flat,)))


def test_an_automatic_white_balance_does_not_match(tmp_path):
    scene = scene_of(n=1)
    automatic = replace(SETTINGS, automatic_white_balance=True)
    photo, _ = taken(scene, tmp_path / "a.jpg")
    shot = photograph(scene.lamp_off(), luther_camera(), np.random.default_rng(2), automatic)
    off = write_jpeg(shot, tmp_path / "off.jpg", Development())
    assert "lamp-off-mismatch" in recipes.measure(photo, Settings(lamp_off=(off,))).flags


def test_a_lamp_off_frame_that_is_clipped_does_not_match(tmp_path):
    """So long that the samples in the room's light are at the top of the scale."""
    scene = replace(scene_of(n=1), room=0.3)
    photo, _ = taken(scene, tmp_path / "a.jpg")
    off, _ = taken(scene.lamp_off(), tmp_path / "off.jpg", 2, replace(SETTINGS, exposure_s=60.0))
    (said,) = recipes.evidence_of(view([open_photo(photo)]), Settings(lamp_off=(off,))).unfit
    assert said.sentence.endswith("off.jpg is clipped.")
    assert "lamp-off-mismatch" in recipes.measure(photo, Settings(lamp_off=(off,))).flags
    dim, _ = taken(scene.lamp_off(), tmp_path / "dim.jpg")
    assert "lamp-off-mismatch" not in recipes.measure(photo, Settings(lamp_off=(dim,))).flags
