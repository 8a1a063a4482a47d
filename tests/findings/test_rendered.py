"""What a rendered file withholds: channels at the gamut, the tone curve, clipped ends of a series."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample
from glowkin.findings.frames import clipped_at_an_end, frames_in_time
from glowkin.findings.rendered import open_channels, over_tones, toned
from glowkin.findings.track import Plan, track_photos

HOURS = (0, 1, 2, 4, 6, 8, 12, 16, 24, 36)
RED, GREEN = np.array([0.10, 0.03, 0.012]), np.array([0.05, 0.30, 0.10])


def sample(name, rgb, x, clipped=0.0):
    noise = np.diag((0.003 * np.asarray(rgb)) ** 2)
    return Sample(
        name,
        (x, 100.0),
        900.0,
        ((x, 90.0), (x + 10.0, 110.0), (x - 10.0, 110.0)),
        u_prime=0.3,
        v_prime=0.5,
        linear_rgb=tuple(float(v) for v in rgb),
        linear_rgb_covariance=tuple(map(tuple, noise.tolist())),
        stray_rgb=(0.0, 0.0, 0.0),
        clipped_fraction=clipped,
    )


def photos(signal_of, kind="rendered"):
    """Photographs of a vial that follows ``signal_of`` and of a steady control."""
    out = []
    for i, hour in enumerate(HOURS):
        rng = np.random.default_rng(i)
        taken_at = f"2026-05-{4 + hour // 24:02}T{hour % 24:02}:00:00"
        vial = signal_of(hour) * (1 + 0.003 * rng.standard_normal(3))
        still = np.array([0.2, 0.2, 0.05]) * (1 + 0.003 * rng.standard_normal(3))
        out.append(
            MeasuredPhoto(
                f"{i:02}.jpg", str(i), taken_at, 1.0, 100.0, 4.0, kind,
                (400, 300), CameraUsed("camera", "generic", (0.21, 0.72, 0.07)), "E", (1 / 3, 1 / 3), 2, (),
                (sample("vial", vial, 100.0), sample("control", still, 300.0)),
            )
        )  # fmt: skip
    return out


def mixture(hour, half=5.0, green=GREEN):
    f = 0.5 ** (hour / half)
    return f * RED + (1 - f) * green


def course_of(shots, **plan):
    return track_photos(shots, Plan(controls=("control",), **plan)).sample("vial")


def open_of(shots, **how):
    frames = frames_in_time(shots, None)
    return open_channels(frames, ["vial"], **{"whole": False, "together": False} | how)["vial"]


def test_a_channel_cut_at_zero_counts_only_where_it_is_not_and_only_if_that_is_often():
    cut = photos(lambda hour: np.clip(mixture(hour, green=GREEN * (-0.5, 1, 1)), 0.0005, None))
    early = photos(lambda hour: mixture(hour, green=GREEN * (1, 1, 1)) * ((hour < 2), 1, 1))
    assert list(open_of(photos(mixture)).channels) == [0, 1, 2]
    assert not open_of(photos(mixture)).at_zero.any()
    told = open_of(cut)
    assert list(told.channels) == [0, 1, 2]
    assert list(told.at_zero[:, 0]) == [hour > 8 for hour in HOURS]
    assert list(open_of(early).channels) == [1, 2]
    assert list(open_of(cut, whole=True).channels) == []


def test_the_half_time_is_right_though_a_channel_was_cut():
    cut = photos(lambda hour: np.clip(mixture(hour, green=GREEN * (-0.5, 1, 1)), 0.0005, None))
    found = course_of(cut)
    low, high = found.half_time_interval_s
    assert low < 5 * 3600 < high
    assert abs(found.half_time_s / 3600 - 5) < 0.15
    # By arithmetic: weights 0.21, 0.72, 0.07 on red (0.10, 0.03, 0.012) and green (-0.025, 0.30, 0.10).
    ratio = found.luminance_ratio
    assert ratio.low < 5.02 < ratio.high


def test_two_channels_that_are_cut_in_turn_tell_the_half_time_together():
    red, green = np.array([0.1, -0.01, -0.01]), np.array([-0.02, 0.3, -0.01])
    mixed = [0.5 ** (hour / 5) * red + (1 - 0.5 ** (hour / 5)) * green for hour in HOURS]
    found = course_of(photos(lambda hour: np.clip(mixed[HOURS.index(hour)], 0.0005, None)))
    low, high = found.half_time_interval_s
    assert low < 5 * 3600 < high
    assert (high - low) / found.half_time_s < 0.6
    assert found.luminance_ratio is None


def test_where_every_channel_is_cut_nearly_always_only_the_change_itself_is_told():
    found = course_of(photos(lambda hour: np.clip(0.03 * mixture(hour) - 0.003, 0.0005, None)))
    assert found.verdict == "changing"
    assert found.half_time_s is None
    assert all(point.fraction_start is None for point in found.points)


def test_a_tone_curve_the_fit_does_not_know_stays_inside_the_interval():
    # A curve of power 0.9: the files' values are not light, and the file does not say so.
    bent = photos(lambda hour: mixture(hour) ** 0.9)
    low, high = course_of(bent).half_time_interval_s
    assert low < 5 * 3600 < high
    raw_low, raw_high = course_of([replace(p, kind="raw") for p in bent]).half_time_interval_s
    assert high - low > 1.2 * (raw_high - raw_low)


@pytest.mark.parametrize("where", [0, -1])
def test_a_sample_clipped_at_an_end_of_the_series_has_no_half_time(where):
    shots = photos(mixture, kind="raw")
    index = range(len(shots))[where]
    vial, still = shots[index].samples
    shots[index] = replace(shots[index], samples=(replace(vial, clipped_fraction=0.3), still))
    assert clipped_at_an_end(frames_in_time(shots, None), "vial")
    found = course_of(shots)
    assert (found.verdict, found.half_time_s) == ("changing", None)


def test_a_tone_raises_the_signal_and_its_relative_error():
    vial = toned(frames_in_time(photos(mixture), None), 0.5)[0].samples["vial"]
    plain = photos(mixture)[0].sample("vial")
    assert np.allclose(vial.linear_rgb, np.sqrt(plain.linear_rgb))
    relative = np.sqrt(np.diag(vial.linear_rgb_covariance)) / vial.linear_rgb
    assert np.allclose(relative, 0.5 * np.sqrt(np.diag(plain.linear_rgb_covariance)) / plain.linear_rgb)


def test_over_tones_moves_each_limit_by_how_far_the_others_go_that_way():
    from glowkin.base.records import ModelFit
    from glowkin.findings.kinetics import CourseFit

    def found(t, f):
        limits = (t / 1.1, t * 1.1)
        model = ModelFit("first-order", {}, 0.0, t, limits)
        given = {"half_time_s": t, "half_time_interval_s": limits, "model": "first-order", "models": (model,)}
        return CourseFit("changing", (f,), (f - 0.03,), (f + 0.03,), (None,), **given)

    course = over_tones(found(10.0, 0.5), [found(10.0 * 1.2, 0.54), found(10.0 / 1.05, 0.5)])
    low, high = course.half_time_interval_s
    # In quadrature, as logarithms, by hand: hypot(ln 1.1, ln 1.05) and hypot(ln 1.1, ln 1.2).
    assert course.half_time_s == 10.0
    assert low == pytest.approx(10.0 * np.exp(-0.10706), rel=1e-4)
    assert high == pytest.approx(10.0 * np.exp(0.20579), rel=1e-4)
    assert (course.low[0], course.high[0]) == (pytest.approx(0.47), pytest.approx(0.55))


def bent_courses(way, tones=(0.9, 1.0, 1.1)):
    """What is said of two forms where two channels are seen, the file's tone curve anywhere in between."""
    found = []
    for tone in tones:
        shots = photos(lambda hour, tone=tone: (way(hour) * (1, 1, 0)) ** tone + (0, 0, 0.0005))
        found.append(course_of(shots).two_forms_suffice)
    return found


def by_way_of_a_third(hour):
    # Consecutive first-order reactions of equal pace (Atkins, Physical Chemistry, ch. 17).
    x = hour / 6
    return np.exp(-x) * RED + x * np.exp(-x) * np.array([0.3, 0.1, 0.1]) + (1 - (1 + x) * np.exp(-x)) * GREEN


def test_two_channels_deny_that_two_forms_suffice_but_never_say_so():
    assert bent_courses(by_way_of_a_third) == [False] * 3
    assert bent_courses(mixture) == [None] * 3


def test_three_channels_do_not_say_so_either_a_tone_curve_may_have_straightened_the_path():
    bent = [course_of(photos(lambda h, t=t: mixture(h) ** t)).two_forms_suffice for t in (0.9, 1.1)]
    assert bent == [None] * 2
