"""What a rendered file withholds: channels at the gamut, the tone curve, clipped ends of a series."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample
from glowkin.findings.frames import clipped_at_an_end, frames_in_time
from glowkin.findings.rendered import open_channels, toned, widest
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


def test_a_channel_that_meets_zero_anywhere_is_left_out():
    cut = photos(lambda hour: np.clip(mixture(hour, green=GREEN * (-0.5, 1, 1)), 0.0005, None))
    assert list(open_channels(frames_in_time(photos(mixture), None))) == [0, 1, 2]
    assert list(open_channels(frames_in_time(cut, None))) == [1, 2]


def test_the_half_time_is_right_without_the_channel_that_was_cut():
    cut = photos(lambda hour: np.clip(mixture(hour, green=GREEN * (-0.5, 1, 1)), 0.0005, None))
    found = course_of(cut)
    low, high = found.half_time_interval_s
    assert low < 5 * 3600 < high
    assert abs(found.half_time_s / 3600 - 5) < 0.15
    assert found.luminance_ratio is None


def test_where_every_channel_is_cut_only_the_change_itself_is_told():
    red, green = np.array([0.1, -0.01, -0.01]), np.array([-0.02, 0.3, -0.01])
    mixed = [0.5 ** (hour / 5) * red + (1 - 0.5 ** (hour / 5)) * green for hour in HOURS]
    found = course_of(photos(lambda hour: np.clip(mixed[HOURS.index(hour)], 0.0005, None)))
    assert found.verdict == "changing"
    assert found.half_time_s is None
    assert all(point.fraction_start is None for point in found.points)


def test_a_tone_curve_the_fit_does_not_know_stays_inside_the_interval():
    # A curve of power 0.9: the files' values are not light, and the file does not say so.
    bent = photos(lambda hour: mixture(hour) ** 0.9)
    low, high = course_of(bent).half_time_interval_s
    assert low < 5 * 3600 < high
    raw_low, raw_high = course_of([replace(p, kind="raw") for p in bent]).half_time_interval_s
    assert high - low > 2 * (raw_high - raw_low)


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


def test_widest_takes_the_hull_and_keeps_the_first_value():
    from glowkin.findings.kinetics import CourseFit

    fits = [
        CourseFit(
            "changing", (0.5,), (low,), (high,), (None,), half_time_s=t, half_time_interval_s=(t - 1, t + 1)
        )
        for t, low, high in ((10.0, 0.4, 0.6), (12.0, 0.3, 0.5))
    ]
    found = widest(fits)
    assert (found.half_time_s, found.half_time_interval_s) == (10.0, (9.0, 13.0))
    assert (found.low, found.high) == ((0.3,), (0.6,))
