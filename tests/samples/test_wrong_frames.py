"""Frames beside a photograph that are not what they are given as: named first, and left out.

What a frame is, is known here because it was rendered so: with the lamp on, off, or no light at all.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError
from glowkin.base.settings import Settings
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.faults import competent
from glowkin.scene.spectra import planck
from glowkin.scene.stage import Scene, SceneSample, Shape

SIZE = (600, 400)
KINDS = ("dng", "jpg")


def shot(setup, path, seed=1):
    taken = setup.shoot(np.random.default_rng(seed))
    return write_dng(taken, path) if path.suffix == ".dng" else write_jpeg(taken, path, setup.development)


def sheet():
    """An evenly lit white sheet, seen through a lens that darkens its corners."""
    even = SceneSample("sheet", Shape("spot", (300.0, 200.0), 1200.0), planck(2856.0), texture=0.0)
    return replace(Scene(SIZE, (even,)), vignetting=0.3, lamp_unevenness=0.3)


@pytest.fixture(scope="module", params=KINDS)
def frames(request, tmp_path_factory):
    """A photograph in room light, and frames beside it by what they are."""
    folder = tmp_path_factory.mktemp(request.param)
    good = competent(np.random.default_rng(7), 4, SIZE, rendered=request.param == "jpg")
    lit = replace(good, scene=replace(good.scene, room=0.1))
    off, dead = lit.scene.lamp_off(), tuple(replace(s, radiance=np.zeros(471)) for s in lit.scene.samples)
    setups = {
        "photo": lit,
        "on": lit,
        "on, half as long": lit.exposed(0.5),
        "off": replace(lit, scene=off),
        "off, four times as long": replace(lit, scene=off).exposed(4.0),
        "capped": replace(lit, scene=replace(off, room=0.0)),
        "dead": replace(lit, scene=replace(lit.scene, samples=dead)),
        "sheet": replace(good, scene=sheet()).metered(0.5),
    }
    return {
        name: shot(setup, folder / f"{i}.{request.param}", i)
        for i, (name, setup) in enumerate(setups.items())
    }


def checked(frames, **given):
    settings = Settings(**{kind: tuple(frames[name] for name in names) for kind, names in given.items()})
    return recipes.check_series([recipes.check(frames["photo"], settings)])[0]


def measured(frames, **given):
    return recipes.measure(
        frames["photo"], Settings(**{k: tuple(frames[n] for n in names) for k, names in given.items()})
    )


WRONG = [
    ("lamp_off", "on", "A lamp-off frame with the lamp off: "),
    ("blank", "on", "A blank with nothing in it that glows: "),
    ("lens_capped", "on", "A lens-capped frame in full darkness: "),
    ("lens_capped", "off", "A lens-capped frame in full darkness: "),
]


@pytest.mark.parametrize(("kind", "name", "mend"), WRONG)
def test_a_frame_that_cannot_be_meant_is_named_first_and_left_out(frames, kind, name, mend):
    found, without = checked(frames, **{kind: (name,)}), checked(frames)
    assert found.advice[0].cause == "frame-left-out"
    assert found.advice[0].sentence.startswith(mend + frames[name].name)
    assert [a.cause for a in found.advice[1:]] == [a.cause for a in without.advice][:2]
    assert (found.verdict, found.samples) == ("usable with care", 4)


@pytest.mark.parametrize(("kind", "name", "_mend"), WRONG)
def test_without_it_the_photograph_is_measured_as_if_none_had_been_given(frames, kind, name, _mend):
    found, without = measured(frames, **{kind: (name,)}), measured(frames)
    assert set(found.flags) == {*without.flags, "frame-left-out"}
    assert [s.u_prime for s in found.samples] == [s.u_prime for s in without.samples]
    assert found.frames == ()


def test_of_several_frames_only_the_wrong_one_is_left_out(frames):
    found = measured(frames, lamp_off=("on", "off"))
    assert [f.path for f in found.frames] == [str(frames["off"])]
    assert "frame-left-out" in found.flags


RIGHT = [
    {"lamp_off": ("off",)},
    {"lamp_off": ("off", "off")},
    {"lamp_off": ("off, four times as long",)},
    {"lamp_off": ("capped",)},
    {"lens_capped": ("capped",)},
    {"blank": ("dead",)},
    {"lamp_off": ("off",), "blank": ("dead",), "lens_capped": ("capped",), "flat": ("sheet",)},
]


@pytest.mark.parametrize("given", RIGHT, ids=str)
def test_what_is_meant_is_kept(frames, given):
    found = measured(frames, **given)
    assert "frame-left-out" not in found.flags
    assert len(found.frames) == sum(len(names) for names in given.values())


def test_the_photograph_and_its_lamp_off_frame_given_the_wrong_way_round(frames):
    found = recipes.check(frames["capped"], Settings(lamp_off=(frames["photo"],))).check
    assert "is brighter than the photograph, as where the two were swapped" in found.advice[0].sentence


def test_the_frame_that_does_not_fit_is_named_before_what_it_leaves(frames):
    """The lamp on at half the exposure: in a JPEG scaled light is too unlike to be told from the room's."""
    found = checked(frames, lamp_off=("on, half as long",)).advice[0]
    assert found.cause in ("frame-left-out", "lamp-off-mismatch")
    assert found.cause == "frame-left-out" or "got 2 times less exposure than" in found.sentence
    found = checked(frames, lamp_off=("off, four times as long",)).advice[0]
    assert f"{frames['off, four times as long'].name} got 4 times more exposure" in found.sentence


def test_a_flat_with_things_on_it_is_refused(frames, tmp_path):
    lit = competent(np.random.default_rng(7), 4, SIZE, rendered=frames["photo"].suffix == ".jpg")
    paper = replace(lit.scene, room=4.0, surroundings_albedo=0.6)
    flat = shot(replace(lit, scene=paper).metered(0.3), tmp_path / f"a{frames['photo'].suffix}")
    with pytest.raises(
        CannotMeasureError, match="this flat shows things with edges; photograph an evenly lit"
    ):
        recipes.check(frames["photo"], Settings(flat=(flat,)))
