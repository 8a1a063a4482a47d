"""What the frames of a series tell together of channels and luminance."""

from __future__ import annotations

from dataclasses import replace

import pytest

from glowkin.findings.frames import frames_in_time, luminance_weights
from made import GREEN, RED, WEIGHTS, YELLOW, photographs, steady

DARK = ("underexposed", "colour-not-told")


def test_samples_that_went_out_do_not_say_what_channels_are_worth():
    """Their channels are noise, some below zero, and a luminance is inferred of them all the same."""
    photos = photographs(range(4), {"a": steady(4, RED), "b": steady(4, GREEN), "c": steady(4, YELLOW)})
    dark = [
        replace(
            photo.samples[0], name=name, u_prime=None, v_prime=None, flags=DARK,
            linear_rgb=(-2e-4, -1e-4, 2e-5), luminance_per_exposure=1e-7, luminance_relative=1e-7,
        )
        for photo, name in zip(photos, "defg", strict=True)
    ]  # fmt: skip
    gone = [replace(photo, samples=(*photo.samples, *dark)) for photo in photos]
    there, after = (luminance_weights(frames_in_time(each, None)) for each in (photos, gone))
    assert after == pytest.approx(there, rel=1e-9)
    for light in (RED, GREEN):
        assert after @ light / (after @ YELLOW) == pytest.approx(
            WEIGHTS @ light / (WEIGHTS @ YELLOW), rel=0.02
        )


def test_weights_that_make_a_sample_darker_than_dark_are_those_of_the_camera():
    photos = photographs(range(4), {"a": steady(4, RED), "b": steady(4, GREEN), "c": steady(4, YELLOW)})
    wrong = {"linear_rgb": (-2e-3, -1e-3, 2e-4), "luminance_per_exposure": 1e-6}
    shots = [replace(p, samples=(*p.samples, replace(p.samples[0], name="d", **wrong))) for p in photos]
    assert luminance_weights(frames_in_time(shots, None)) == pytest.approx(photos[0].camera.luminance_weights)
