"""Maps: fractions by pixel, and where a change begins. Truths: arithmetic, and patterns written down here."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import spearmanr

from glowkin.base.maps import AT_ONE_SIDE, AT_RIM, CANNOT_TELL, EVENLY, IN_MIDDLE, IN_SPOTS
from glowkin.base.study import EventTold, StudyFile
from glowkin.findings.begins import Seen, begins, patches
from glowkin.findings.mapped import plots_of
from glowkin.findings.maps import (
    Forms,
    chosen_points,
    forms_of,
    fraction_map,
    scatter_of,
    series_frames,
    unmixed,
)
from glowkin.findings.track import Plan, track_photos
from glowkin.light.crop import Crop
from made import GREEN, RED, WEIGHTS, mixed, photographs, steady

A, B = np.array([0.04, 0.012, 0.002]), np.array([0.03, 0.22, 0.08])
FORMS = Forms(A, B, np.arange(3), by_light=False)
NO_STRAY = (0.0, 0.0, 0.0)
SIDE = 48
Y, X = np.mgrid[:SIDE, :SIDE] / (SIDE - 1) * 2 - 1
RHO = np.hypot(X, Y)
DISC = RHO <= 1.0


def crop_of(fraction, noise=0.0, seed=0, grain=0.15):
    """A disc whose places are in the starting form to this fraction, unevenly lit, with noise."""
    rng = np.random.default_rng(seed)
    light = (1.0 - 0.3 * X) * np.exp(grain * rng.standard_normal((SIDE, SIDE)))
    f = np.broadcast_to(fraction, (SIDE, SIDE))[..., None]
    linear = light[..., None] * (f * A + (1.0 - f) * B)
    sd = noise * np.sqrt(np.maximum(linear, 1e-4) * 0.1)
    linear = linear + sd * rng.standard_normal(linear.shape)
    linear[~DISC] = np.nan
    return Crop(linear.astype(np.float32), np.maximum(sd**2, 1e-12).astype(np.float32), DISC, 4)


def seen(fraction, noise=0.01, seed=0, told=None, time_s=0.0):
    crop = crop_of(fraction, noise, seed)
    whole = float(np.mean(np.broadcast_to(fraction, (SIDE, SIDE))[DISC]))
    return Seen(
        unmixed(crop, NO_STRAY, FORMS), DISC, 4, whole if told is None else told, f"{seed}.dng", time_s
    )


def course(pattern, noise=0.01, seed=0):
    """Unconverted, the pattern, and converted."""
    return [seen(1.0, noise, seed + 1), seen(pattern, noise, seed + 2), seen(0.0, noise, seed + 3)]


def blobs(seed=3):
    from skimage.filters import gaussian

    field = gaussian(np.random.default_rng(seed).standard_normal((SIDE, SIDE)), 3.5)
    return np.clip(0.5 + 0.3 * field / field[DISC].std(), 0.0, 1.0)


PATTERNS = {
    AT_RIM: 1.0 / (1.0 + np.exp((RHO - 0.7) / 0.08)),
    IN_MIDDLE: 1.0 / (1.0 + np.exp(-(RHO - 0.7) / 0.08)),
    AT_ONE_SIDE: 1.0 / (1.0 + np.exp(-X / 0.15)),
    IN_SPOTS: blobs(),
    EVENLY: np.full((SIDE, SIDE), 0.5),
}


def test_the_tenfold_one_to_one_mixture_comes_back_as_half():
    """Arithmetic: 50 % of the amount is 91 % of the light."""
    tenfold = Forms(A, 10.0 * B / B.sum() * A.sum(), np.arange(3), by_light=False)
    linear = np.full((4, 4, 3), (A + tenfold.end) / 2.0, dtype=np.float32)
    crop = Crop(linear, np.full_like(linear, 1e-8), np.ones((4, 4), bool), 1)
    assert unmixed(crop, NO_STRAY, tenfold).fraction == pytest.approx(0.5, abs=1e-5)
    assert A.sum() / (A + tenfold.end).sum() == pytest.approx(0.091, abs=0.001)


def test_light_and_powder_that_differ_from_place_to_place_do_not_matter():
    f = unmixed(crop_of(PATTERNS[AT_RIM], grain=0.3), NO_STRAY, FORMS).fraction
    assert f[DISC] == pytest.approx(PATTERNS[AT_RIM][DISC], abs=1e-4)


def test_stray_light_is_taken_off():
    crop, stray = crop_of(0.5), np.array([0.01, 0.002, 0.03], dtype=np.float32)
    lit = Crop(crop.linear + stray, crop.variance, crop.inside, 4)
    assert unmixed(lit, stray, FORMS).fraction[DISC] == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize("fraction", [1.0, 0.5, 0.05])
def test_the_error_of_a_pixel_is_what_draws_scatter_by(fraction):
    """JCGM 101: propagation of distributions by draws, beside the first-order formula."""
    level = fraction * A + (1.0 - fraction) * B
    variance = np.array([1e-6, 4e-6, 2e-6])
    drawn = level + np.sqrt(variance) * np.random.default_rng(1).standard_normal((200, 200, 3))
    crop = Crop(drawn, np.broadcast_to(variance, drawn.shape), np.ones((200, 200), bool), 1)
    found = unmixed(crop, NO_STRAY, FORMS)
    assert found.fraction.std() == pytest.approx(found.sd.mean(), rel=0.03)
    assert found.fraction.mean() == pytest.approx(fraction, abs=0.002)


def test_noise_alike_in_neighbours_is_seen_in_pixels_apart():
    from skimage.filters import gaussian

    noise = gaussian(np.random.default_rng(2).standard_normal((SIDE, SIDE, 3)), 1.0, channel_axis=2)
    noise *= 0.004 / noise.std()
    linear = (A + B) / 2.0 + noise
    crop = Crop(linear, np.full_like(linear, 0.002**2), DISC, 4)
    assert scatter_of(unmixed(crop, NO_STRAY, FORMS)) == pytest.approx(2.0, rel=0.15)


def point(fraction=0.5):
    from glowkin.base.records import TrackPoint

    return TrackPoint(3600.0, "1.dng", fraction, None, None, None, None, None, None)


def test_a_spoiled_photograph_is_not_mapped_and_bends_no_form():
    hours = np.array([0.0, 1.0, 2.0, 4.0, 6.0, 9.0, 13.0, 18.0, 36.0])
    signals = {"vial": mixed(0.5 ** (hours / 5.0)), "control": steady(len(hours))}
    signals["vial"][4] = (0.02, 0.03, 0.09)
    photos = photographs(hours, signals)
    course = track_photos(photos, Plan(("control",)))
    vial = course.sample("vial")
    assert vial.spoiled_photos == ("04.dng",)
    assert "04.dng" not in [p.path for p in chosen_points(vial, by_light=False)]
    forms = forms_of(series_frames(photos, course), vial)
    for found, true in ((forms.start, RED), (forms.end, GREEN)):
        assert found / np.linalg.norm(found) == pytest.approx(true / np.linalg.norm(true), abs=0.01)


def test_across_a_change_of_lamp_maps_are_of_light():
    """Under the second lamp the vial is three times as bright beside the control; its two colours stay."""
    hours = np.array([0.0, 1.0, 2.0, 4.0, 6.0, 9.0, 13.0, 18.0, 36.0])
    signals = {"vial": mixed(0.5 ** (hours / 5.0)), "control": steady(len(hours))}
    signals["vial"][4:] *= 3.0
    photos = photographs(hours, signals)
    study = StudyFile(
        start="2026-05-04T09:00:00", event=(EventTold(at="2026-05-04T14:00:00", what="lamp changed"),)
    )
    course = track_photos(photos, Plan(("control",)).told_by(study))
    assert course.sample("vial").luminance_ratio.value == pytest.approx(5.0, rel=0.1)
    (plot,) = plots_of(photos, course).plots
    assert plot.forms.by_light
    for found, true in ((plot.forms.start, RED), (plot.forms.end, GREEN)):
        assert found / (WEIGHTS @ found) == pytest.approx(true / (WEIGHTS @ true), rel=0.03, abs=0.02)
    assert WEIGHTS @ plot.forms.end == pytest.approx(WEIGHTS @ plot.forms.start, rel=0.02)


def test_places_with_too_little_light_are_left_out():
    crop = crop_of(0.5, noise=0.01)
    dark = crop.linear.copy()
    dark[: SIDE // 2] *= 1e-4
    dark += 3e-4 * np.random.default_rng(1).standard_normal(dark.shape).astype(np.float32)
    variance = np.full_like(crop.variance, 3e-4**2)
    shaded = Crop(dark, variance, DISC, 4)
    shown = fraction_map(point(), shaded, unmixed(shaded, NO_STRAY, FORMS), 1.0, by_light=False)
    assert np.isfinite(shown.values[: SIDE // 2 - 4]).sum() == 0
    lit = shown.values[SIDE // 2 + 4 :][DISC[SIDE // 2 + 4 :]]
    assert np.isfinite(lit).mean() > 0.99
    assert lit == pytest.approx(0.5, abs=0.15)


def test_a_noisy_map_is_smoothed_and_a_calm_one_is_not():
    calm, noisy = crop_of(PATTERNS[AT_ONE_SIDE], 0.005), crop_of(PATTERNS[AT_ONE_SIDE], 0.3)
    maps = [fraction_map(point(), c, unmixed(c, NO_STRAY, FORMS), 1.0, by_light=False) for c in (calm, noisy)]
    errors = [(m.values - PATTERNS[AT_ONE_SIDE])[DISC] for m in maps]
    raw = (unmixed(noisy, NO_STRAY, FORMS).fraction - PATTERNS[AT_ONE_SIDE])[DISC]
    assert np.nanstd(errors[0]) < 0.02
    assert np.nanstd(errors[1]) < 0.5 * np.nanstd(raw)


@pytest.mark.parametrize("kind", ["raw", "rendered"])
@pytest.mark.parametrize("pattern", PATTERNS)
def test_where_a_change_begins_is_told(pattern, kind):
    assert begins(course(PATTERNS[pattern]), kind, by_light=False).begins == pattern


def test_depth_is_that_of_the_outline():
    """A disc: depth is 1 - rho (geometry)."""
    p = patches(seen(0.5), "raw")
    assert p.depth == pytest.approx(1.0 - np.hypot(p.x, p.y), abs=0.05)


def test_correlation_with_depth_and_its_chance_agree_with_scipy():
    """Spearman's rho and its p-value by the t distribution, as scipy.stats has them."""
    weak = np.clip(0.5 + 0.02 * (0.5 - RHO), 0.0, 1.0)
    three = course(weak, noise=0.25, seed=40)
    found, p = begins(three, "raw", by_light=False), patches(three[1], "raw")
    reference = spearmanr(p.fraction, p.depth)
    assert found.rank_correlation == pytest.approx(reference.statistic, abs=0.15)
    assert found.p_value == pytest.approx(spearman_chance(found.rank_correlation, found.patches), abs=0.03)


def spearman_chance(rho, n):
    from scipy.stats import t

    return 2.0 * t.sf(abs(rho) * np.sqrt((n - 2) / (1 - rho**2)), n - 2)


def test_noise_alone_names_no_place():
    """300 even samples: hardly ever a place named; evenly where noise is low, cannot tell where loud."""
    quiet = [begins(course(0.5, 0.2, 10 * i), "raw", by_light=False) for i in range(100)]
    said = {
        noise: [begins(course(0.5, noise, 10 * i), "raw", by_light=False).begins for i in range(100)]
        for noise in (0.02, 0.2, 6.0)
    }
    assert np.mean([f.p_value < 0.05 for f in quiet]) <= 0.1
    named = sum(word not in (EVENLY, CANNOT_TELL) for words in said.values() for word in words)
    assert named <= 3
    assert said[0.02].count(EVENLY) >= 98
    assert said[6.0].count(EVENLY) <= 10


def test_the_interval_between_middle_and_rim_holds_the_truth():
    inside = 100
    held = 0
    for i in range(inside):
        found = begins(course(0.5 + 0.06 * (0.7 - RHO), 0.2, 10 * i), "raw", by_light=False)
        low, high = found.inner_minus_outer_interval
        p = patches(seen(0.5 + 0.06 * (0.7 - RHO), 0.0), "raw")
        deep = np.argsort(np.argsort(p.depth, kind="stable")) >= len(p.depth) // 2
        truth = p.fraction[deep].mean() - p.fraction[~deep].mean()
        held += low <= truth <= high
    assert held >= 88, f"{held} of {inside}, width of the last {high - low:.3f}"
    assert high - low < 0.06


def test_what_looks_uneven_before_and_after_is_no_pattern():
    """Stray light that is stronger at the rim: it bends all three photographs, and begins nothing."""
    haze = 0.12 * RHO**2
    three = [
        seen(1.0 - haze, seed=1, told=1.0),
        seen(0.5 - haze, seed=2, told=0.5),
        seen(-haze, seed=3, told=0.0),
    ]
    assert begins(three, "raw", by_light=False).begins == EVENLY


@pytest.mark.parametrize(
    "three",
    [
        [seen(1.0, seed=1), seen(0.9, seed=2)],
        [seen(0.6, seed=1), seen(0.5, seed=2), seen(0.4, seed=3)],
        [],
    ],
    ids=["never half-way", "no end to compare with", "nothing"],
)
def test_without_the_photographs_it_takes_nothing_is_told(three):
    assert begins(three, "raw", by_light=False).begins == CANNOT_TELL


def test_a_sample_of_few_pixels_tells_nothing():
    small = np.zeros_like(DISC)
    small[20:28, 20:28] = True
    few = [Seen(s.pixels, small, 4, s.fraction, s.path, s.time_s) for s in course(PATTERNS[AT_RIM])]
    assert begins(few, "rendered", by_light=False).begins == CANNOT_TELL
