"""Each fault of a rendered photograph is named, and a photograph without fault is called good."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from glowkin import recipes
from glowkin.base.checks import check_document, checks_from_json
from glowkin.base.flags import FLAGS
from glowkin.base.records import to_json
from glowkin.base.settings import Settings
from glowkin.findings.check import CANNOT, CARE, GOOD, measurable
from glowkin.findings.check_light import _neighbours
from glowkin.scene.develop import developed, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.faults import competent, lamp_off_of, sent_by_messenger, series_with_fault, with_fault

SIZE = (600, 400)
CAUSES = {
    "overexposed": "clipped",
    "underexposed": "underexposed",
    "noisy": "noisy",
    "out of focus": "out-of-focus",
    "shaken": "shaken",
    "flicker banding": "flicker-banding",
    "lamp hot spot": "lamp-hot-spot",
    "vignetting": "vignetting",
    "lamp violet": "lamp-leakage",
    "room light": "room-light",
    "glowing paper": "glowing-background",
    "fogged vial": "fogged",
    "tiny samples": "sample-too-small",
    "bright neighbour": "lit-by-neighbour",
    "cut by the frame": "edge-of-frame",
    "nothing glows": "no-sample",
}


def scene(seed=3, **options):
    return competent(np.random.default_rng(seed), 4, SIZE, **options)


def check(setup, path):
    shot = setup.shoot(np.random.default_rng(5))
    write_jpeg(shot, path, setup.development) if path.suffix == ".jpg" else write_dng(shot, path)
    return recipes.check_series([recipes.check(path)])[0]


def causes(found):
    return [a.cause for a in found.advice]


def test_a_competent_raw_photograph_is_good(tmp_path):
    found = check(scene(), tmp_path / "a.dng")
    assert (found.verdict, found.advice, found.also, found.samples) == (GOOD, (), (), 4)
    assert not found.headroom_is_bound
    assert all(0 < stops < 6 for stops in found.headroom_stops)
    assert 0 < found.resolution_u_prime_v_prime < 0.003


def test_of_a_competent_jpeg_only_its_kind_is_named(tmp_path):
    found = check(scene(rendered=True), tmp_path / "a.jpg")
    assert (found.verdict, causes(found)) == (CARE, ["rendered-file"])
    assert found.headroom_is_bound


@pytest.mark.parametrize("fault", CAUSES)
def test_a_strong_fault_is_named_first(fault, tmp_path):
    lost = ("bright neighbour", "noisy")  # stronger than this, samples drown and cannot be found
    strength = "medium" if fault in lost else "strong"
    bad = with_fault(scene(), fault, strength, np.random.default_rng(1))
    found = check(bad, tmp_path / "a.dng")
    assert causes(found)[0] == CAUSES[fault]
    assert len(found.advice) <= 3
    assert found.verdict == (CANNOT if fault == "nothing glows" else CARE)
    assert found.advice[0].sentence.endswith(".")
    assert {*causes(found), *found.also} <= set(FLAGS)


@pytest.mark.parametrize(
    ("fault", "cause"),
    [("merged frames", "merged-by-phone"), ("automatic white balance", "automatic-white-balance")],
)
def test_what_the_file_tells_is_named_first(fault, cause, tmp_path):
    bad = with_fault(scene(rendered=True), fault, "medium", np.random.default_rng(1))
    found = check(bad, tmp_path / "a.jpg")
    assert causes(found) == [cause, "rendered-file"]
    assert found.verdict == CARE


def test_a_copy_from_a_messenger_is_known_by_what_it_lost(tmp_path):
    good, path = scene(rendered=True), tmp_path / "a.jpg"
    path.write_bytes(sent_by_messenger(good.shoot(np.random.default_rng(5)), good.development))
    found = recipes.check(path).check
    assert "metadata-stripped" in causes(found)
    assert "automatic-white-balance" not in causes(found)


def test_the_sentence_says_how_many_stops_and_which_channel(tmp_path):
    """Exposed a little beyond the headroom another photograph shows: the advice undoes it, to its target."""
    good = scene()
    room = min(check(good, tmp_path / "a.dng").headroom_stops)
    found = check(good.exposed(2 ** (room + 0.1)), tmp_path / "b.dng")
    advice = found.advice[0]
    assert advice.cause == "clipped"
    assert (advice.unit, advice.value) == ("stops", pytest.approx(0.1 - np.log2(0.6), abs=0.25))
    assert f"{advice.value:.1f} stops less exposure: the " in advice.sentence
    assert f"channel of sample {advice.samples[0]} is clipped" in advice.sentence


def series(fault, tmp_path, rendered=True):
    good = competent(np.random.default_rng(4), 5, SIZE, rendered=rendered)
    shots = []
    for i, setup in enumerate(series_with_fault(good, fault, "strong", np.random.default_rng(2))):
        path = tmp_path / f"{i}.jpg"
        write_jpeg(setup.shoot(np.random.default_rng(i)), path, setup.development)
        shots.append(recipes.check(path))
    return recipes.check_series(shots)


@pytest.mark.parametrize(
    ("fault", "cause"),
    [
        ("exposure changed", "exposure-changed"),
        ("white balance changed", "white-balance-changed"),
        ("camera moved", "moved"),
    ],
)
def test_what_changed_within_a_series_is_named(fault, cause, tmp_path):
    first, *_, last = series(fault, tmp_path)
    assert causes(first) == ["rendered-file"]
    assert cause in causes(last)


def test_a_steady_series_gives_no_advice_of_its_own(tmp_path):
    assert [causes(c) for c in series(None, tmp_path)] == [["rendered-file"]] * 3


@pytest.mark.parametrize("fault", [None, "exposure"])
def test_a_lamp_off_frame_that_does_not_fit_is_named(fault, tmp_path):
    lit = with_fault(scene(), "room light", "weak", np.random.default_rng(1))
    paths = tmp_path / "a.dng", tmp_path / "off.dng"
    for setup, path in zip((lit, lamp_off_of(lit, fault, "strong")), paths, strict=True):
        write_dng(setup.shoot(np.random.default_rng(5)), path)
    found = recipes.check(paths[0], Settings(lamp_off=(paths[1],))).check
    assert ("lamp-off-mismatch" in causes(found)) is (fault is not None)


@pytest.mark.parametrize(
    ("fault", "cause"), [("out of focus", "out-of-focus"), ("shaken", "shaken"), ("overexposed", "clipped")]
)
def test_what_no_frame_can_cause_comes_before_one_that_is_only_scaled(fault, cause, tmp_path):
    lit = replace(scene(), scene=replace(scene().scene, room=0.1))
    bad = with_fault(lit, fault, "strong", np.random.default_rng(2))
    off = replace(bad, scene=bad.scene.lamp_off()).exposed(2.0)
    for setup, name in ((bad, "a.dng"), (off, "off.dng")):
        write_dng(setup.shoot(np.random.default_rng(5)), tmp_path / name)
    settings = Settings(lamp_off=(tmp_path / "off.dng",))
    found = recipes.check_series([recipes.check(tmp_path / "a.dng", settings)])[0]
    assert causes(found)[0] == cause
    assert "lamp-off-mismatch" in causes(found)


def test_a_picture_clipped_all_over_is_told_so_first(tmp_path):
    Image.new("RGB", (300, 200), (255, 255, 255)).save(tmp_path / "a.png")
    found = recipes.check_series([recipes.check(tmp_path / "a.png")])[0]
    assert (found.verdict, found.advice[0].cause) == (CANNOT, "clipped")
    assert found.advice[0].sentence.startswith("Less exposure, and a darker room: half of the picture")


@pytest.mark.parametrize(
    ("suffix", "mend"),
    [
        (".jpg", "Raw (DNG) beside the JPEG: the camera's own development"),
        (".png", "The camera's raw file (DNG) instead of this PNG: its development"),
        (".tif", "The camera's raw file (DNG) instead of this TIFF: its development"),
        (".avif", "The camera's raw file (DNG) instead of this AVIF: its development"),
    ],
)
def test_what_is_said_of_a_developed_file_fits_its_kind(suffix, mend, tmp_path):
    setup = scene(rendered=True)
    picture = Image.fromarray(developed(setup.shoot(np.random.default_rng(1)), setup.development))
    picture.save(tmp_path / f"a{suffix}", quality=95)
    (said,) = [a for a in recipes.check(tmp_path / f"a{suffix}").check.advice if a.cause == "rendered-file"]
    assert said.sentence.startswith(f"{mend} has changed the colours by an unknown amount")


def test_the_document_reads_back(tmp_path):
    bad = with_fault(scene(), "shaken", "strong", np.random.default_rng(1))
    found = check(bad, tmp_path / "a.dng")
    document = check_document([found], [], "glowkin 1")
    assert (document["schema"], document["errors"]) == ("glowkin.check.v1", [])
    assert checks_from_json(document) == [found]
    assert found.rows()[0]["cause"] == "shaken"
    assert "shaken" in found._repr_html_()


def test_no_more_than_three_things_to_change_and_the_rest_by_name(tmp_path):
    bad = scene(rendered=True)
    for fault in ("merged frames", "automatic white balance", "out of focus", "cut by the frame"):
        bad = with_fault(bad, fault, "strong", np.random.default_rng(1))
    found = check(bad, tmp_path / "a.jpg")
    assert len(found.advice) == 3
    assert "rendered-file" in found.also
    harms = [a.harm_u_prime_v_prime for a in found.advice]
    assert harms == sorted(harms, reverse=True)
    assert to_json(replace(found, advice=()))["advice"] == ()


@pytest.mark.parametrize(
    ("resolution", "told"), [((0.11, 0.4), False), ((np.nan, 0.4), False), ((0.002, 0.4), True), ((), True)]
)
def test_a_photograph_whose_best_colour_is_lost_in_noise_cannot_be_measured(resolution, told):
    look = SimpleNamespace(names=["a", "b"][: len(resolution)], resolution=np.array(resolution))
    assert measurable(look) is told


def test_a_neighbour_that_is_no_brighter_is_not_called_brighter():
    """Two samples of like brightness, side by side, whose light pulls each other's colour."""
    found = [SimpleNamespace(area_px=100.0, centre_px=(x, 0.0)) for x in (0.0, 30.0)]

    def words(other: float) -> str:
        evidence = SimpleNamespace(
            stray=SimpleNamespace(may_hold=lambda *_: None),
            emitted=SimpleNamespace(mean=np.array([[0.2] * 3, [other] * 3])),
            found=found,
        )
        look = SimpleNamespace(names=("S1", "S2"), evidence=evidence, shift=lambda _: np.array([0.1, 0.0]))
        (advice,) = _neighbours(look)
        return advice.sentence

    assert "black card between them: the light of S2 may pull the colour of S1 by 0.1" in words(0.06)
    assert "S2 is 30 times brighter, and its light may pull the colour of S1" in words(6.0)


def test_a_sample_without_any_light_beside_others_is_checked(tmp_path):
    """A lamp-off frame takes from the darkest, far from the lamp, all that it shows."""
    good = competent(np.random.default_rng(7), 4, SIZE)
    lit = with_fault(good, "lamp hot spot", "strong", np.random.default_rng(2))
    lit = replace(lit, scene=replace(lit.scene, room=0.1))
    for setup, name in ((lit, "a.dng"), (lamp_off_of(lit, "exposure", "medium"), "off.dng")):
        write_dng(setup.shoot(np.random.default_rng(5)), tmp_path / name)
    found = recipes.check(tmp_path / "a.dng", Settings(lamp_off=(tmp_path / "off.dng",))).check
    assert found.samples == 4
