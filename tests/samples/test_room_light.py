"""Room light so faint that black ground holds a code or two of it: told from lamp violet, in raw and in JPEG.

What files show of violet and white light are medians over the 26 measured cameras of the shared data, each
with the matrix to sRGB that errs least on the ISO 17321-1 chart: figures of light from outside the project.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cameras import exact_camera
from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.light.linear import Frame
from glowkin.samples.stray import surroundings
from glowkin.scene.cameras import luther_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.render import metered, photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band, emitters, lamp_violet, planck, room_light
from glowkin.scene.stage import random_scene

CODE = 1 / 255 / 12.92  # IEC 61966-2-1: the sRGB curve is straight at its foot
VIOLET = {395: (0.32, -0.18, 1), 400: (0.21, -0.20, 1), 405: (0.14, -0.21, 1), 420: (0.09, -0.20, 1)}
PAPER = {430: (-0.02, -0.12, 1), 440: (-0.08, 0.02, 1), 450: (-0.11, 0.10, 1)}
ROOM = {
    "warm LED": (1, 0.32, 0.18), "2856 K": (1, 0.45, 0.14), "4000 K": (1, 0.65, 0.38), "FL2": (1, 0.75, 0.40),
    "cool LED": (1, 0.96, 1.18), "6500 K": (1, 1, 1), "screen": (1, 1.35, 1.94),
}  # fmt: skip


def ground_of(codes, faintest=6 * CODE):
    """Stray light on a sample in the middle of ground that a file shows so (3, codes)."""
    y, x = np.mgrid[:240, :320]
    linear = np.broadcast_to(CODE * np.clip(codes, 0, None), (240, 320, 3)).astype(np.float32).copy()
    linear[np.hypot(x - 100, y - 100) < 20] = (0.5, 0.3, 0.1)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    outline = np.array([100, 100]) + 17 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return surroundings(Frame(linear, 1, faintest=faintest), [outline])


@pytest.mark.parametrize("violet", [0.0, 2.0, 6.0])
@pytest.mark.parametrize("name", ROOM)
def test_two_codes_of_room_light_are_seen_beside_lamp_violet(name, violet):
    """In sRGB the violet holds less green than none: what room light adds is half hidden, its red is not."""
    room = 2.5 * np.array(ROOM[name])
    found = ground_of(violet * np.array(VIOLET[405]) + room).of_room / CODE
    if name == "screen" and violet > 3.0:  # as blue as the lamp: how much of it there is, is not told
        assert found.max() > 1.0
        return
    assert found[0] == pytest.approx(room[0], rel=0.35)
    assert found[1] == pytest.approx(room[1], abs=0.8)
    assert found[2] <= room[2] + 1.0


@pytest.mark.parametrize("light", [*(VIOLET[nm] for nm in (400, 405, 420)), *PAPER.values()])
@pytest.mark.parametrize("codes", [1.0, 6.0, 20.0])
def test_violet_and_paper_are_no_room_light(light, codes):
    assert not ground_of(codes * np.array(light)).of_room.any()


def test_what_is_left_once_a_lamp_off_frame_is_taken_off_is_the_lamps(tmp_path):
    """Violet near the ultraviolet looks like room light to some cameras; the frame shows that it is not."""
    violet = 12 * np.array(VIOLET[395])
    assert ground_of(violet).of_room.any()
    scene = replace(scene_of(3), surroundings_violet=0.004)
    scene = replace(scene, violet_spectrum=lamp_violet() + 0.5 * room_light())  # a lamp with a white tail
    photo, off = jpeg(scene, tmp_path / "a.jpg"), jpeg(scene.lamp_off(), tmp_path / "off.jpg")
    assert "room-light" in flags_of(recipes.measure(photo))
    assert "room-light" not in flags_of(recipes.measure(photo, Settings(lamp_off=(off,))))


def test_colours_outside_the_files_are_told_once_a_lamp_off_frame_is_taken_off(tmp_path):
    """Room light lifts a saturated green's red into the file's colours; without it the file would cut it."""
    green = {"green": band(520.0, 45.0), "cyan": band(500.0, 60.0)}
    rng, violet = np.random.default_rng(5), {"violet": (0.0, 0.0), "surroundings_violet": 0.0}
    scene = random_scene(rng, 4, size_px=(600, 420), spectra=green, **violet)
    lit = replace(scene, room=0.1)
    in_dark, photo, off = (jpeg(s, tmp_path / f"{i}.jpg") for i, s in enumerate((scene, lit, lit.lamp_off())))
    seen = recipes.measure(in_dark).samples, recipes.measure(photo, Settings(lamp_off=(off,))).samples
    errors = [[off_by(s, scene.truths()) for s in samples] for samples in seen]
    assert len(errors[0]) == len(errors[1]) == 4
    assert np.median(errors[1]) <= 1.3 * np.median(errors[0])


def off_by(sample, truths):
    """Distance in u'v' from the truth of the nearest."""
    near = min(truths, key=lambda t: np.hypot(*np.subtract(t.centre_px, sample.centre_px)))
    return np.hypot(sample.u_prime - near.u_prime, sample.v_prime - near.v_prime)


def scene_of(seed, **options):
    rng = np.random.default_rng([seed, 17])
    in_gamut = {k: v for k, v in emitters().items() if k in ("yellow", "orange", "two-band")}
    clean = {"violet": (0.0, 0.0), "surroundings_violet": 0.003, "spectra": in_gamut}
    return replace(random_scene(rng, 4, size_px=(600, 420), **clean), **options)


def jpeg(scene, path):
    exposure = metered(replace(scene, room=0.0), luther_camera(), Exposure(), 0.5)
    shot = photograph(scene, luther_camera(), np.random.default_rng(1), exposure)
    return write_jpeg(shot, path, Development(subsampling="4:4:4"))


def flags_of(measured):
    return {flag for sample in measured.samples for flag in sample.flags}


@pytest.mark.parametrize("light", [room_light(), planck(2856.0)])
def test_a_faint_room_is_flagged_in_a_jpeg_and_the_dark_is_not(light, tmp_path):
    """Also where its light is not the warm LED that the rooms of the scenes are lit by."""
    for seed in range(3):
        dark = scene_of(seed)
        lit = jpeg(replace(dark, room=0.03, room_spectrum=light), tmp_path / "lit.jpg")
        camera = exact_camera(recipes.open_photo(lit).to_xyz[-1])
        assert "room-light" in flags_of(recipes.measure(lit, camera=camera))
        assert "room-light" not in flags_of(recipes.measure(jpeg(dark, tmp_path / "dark.jpg"), camera=camera))


def test_room_light_that_rivals_the_samples_leaves_no_colour_told_until_it_is_taken_off(tmp_path):
    """White powder sends back 0.75, black cloth 0.04 (common practice, no source): half of what shows is the
    room's. No interval then holds; the same photograph with its lamp-off frame is measured.
    """
    scene = scene_of(5, room=0.5)
    photo, off = jpeg(scene, tmp_path / "a.jpg"), jpeg(scene.lamp_off(), tmp_path / "off.jpg")
    samples = recipes.measure(photo).samples
    untold = [s for s in samples if s.u_prime is None]
    assert len(untold) == 2
    assert all({"room-light", "colour-not-told"} <= set(s.flags) for s in untold)
    cleared = recipes.measure(photo, Settings(lamp_off=(off,))).samples
    assert all(s.u_prime is not None and "colour-not-told" not in s.flags for s in cleared)
