"""Colours of emission on cameras and spectra that no prior saw, against a matrix fitted to a chart.

The cameras are measured ones (the camera data set of the Academy Software Foundation), each met with a prior
made without its maker; spectra are measured (quantum dots, colour-science's light sources) or of other shapes
than the prior's: see ``benchmarks/accuracy.py``, of which this is a small part.
"""

from __future__ import annotations

import importlib
import sys

import numpy as np
import pytest

from glowkin.camera.sensitivities import Gains, camera_prior, usual_gains


@pytest.fixture(scope="module")
def bench(root, colour_science):
    folder = str(root / "benchmarks")
    sys.path.insert(0, folder)
    try:
        yield importlib.import_module("accuracy")
    finally:
        sys.path.remove(folder)


@pytest.fixture(scope="module")
def held_out(bench, shared_data):
    """What becomes of five cameras and a third of the spectra in a mode."""
    cams = bench.camera_prior.cameras(shared_data / "cameras")
    gained = bench.camera_prior.gains(shared_data / "cameras")
    E, classes = bench.spectra("usual", shared_data)

    def found(mode, **how):
        scores = bench.run(mode, cams, E[::3], gained, only=list(cams)[3::5], **how)
        return bench.Summary(scores, E[::3], classes[::3], [maker for maker, _ in list(cams)[3::5]])

    return found


@pytest.mark.parametrize(
    ("mode", "median", "high", "ratio", "semi"),
    [("known", 0.0045, 0.0125, 0.5, 0.025), ("chart", 0.0085, 0.020, 0.7, 0.033)],
)
def test_colours_of_emission_are_better_than_a_chart_s_matrix(held_out, mode, median, high, ratio, semi):
    got = held_out(mode)
    tenth = [np.quantile(error, 0.9) for error in (got.error, got.off(got.scores.matrix))]
    assert np.median(got.error) < median
    assert tenth[0] < min(high, ratio * tenth[1])
    assert got.covered.mean() > 0.92
    assert np.median(got.axis) < semi


def test_gains_that_are_no_sensor_s_are_set_aside(held_out):
    """Channels scaled by 30 % each, drawn: the colours hardly suffer, the regions hold."""
    own, free = held_out("chart"), held_out("chart", free=True)
    assert np.median(free.error) < 1.35 * np.median(own.error)
    assert free.covered.mean() > 0.92


def test_the_prior_over_cameras_is_as_wide_as_its_cameras(bench, shared_data):
    """The scatter of measured cameras, channel by channel where they respond, against the prior's."""
    cams = bench.camera_prior.cameras(shared_data / "cameras")
    at = [np.stack([np.interp(bench.NM, bench.camera_prior.WL, row) for row in S]) for S in cams.values()]
    at = np.array([S / S.sum(axis=1, keepdims=True) for S in at])
    prior = camera_prior()
    spread = np.sqrt(np.square(prior.loadings).sum(axis=2))
    responds = prior.mean > 0.2 * prior.mean.max(axis=1, keepdims=True)
    assert 1.0 < np.median(spread[responds] / at.std(axis=0)[responds]) < 1.8


def test_gains_of_sensors_are_as_measured():
    """Red and blue below green, by the same data set: e^-0.77 and e^-0.35 of its sum."""
    gains = usual_gains()
    assert isinstance(gains, Gains)
    assert gains.mean == pytest.approx((-0.77, -0.35), abs=0.05)
