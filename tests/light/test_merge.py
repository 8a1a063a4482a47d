"""Regions in several exposures, from numbers written here: no camera, no file."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.light.merge import Ratios, Shown, merge_signals
from glowkin.light.noise import Noise
from glowkin.light.region import Signals

TRUE_RATIOS = np.array([1.0, 3.7, 15.1, 66.0])
CELLS = 2000.0
NOISE = Noise(np.full(3, 3e-5), np.full(3, 1e-8))
RNG_SEEDS = range(60)


def told(sd=0.05, value=(1.0, 4.0, 16.0, 64.0)):
    covariance = np.diag(np.array([0.0, *[sd**2] * 3]))
    return Ratios(np.array(value), covariance)


def exposures(means, rng, texture=0.0, change=None):
    """What four exposures show of regions of these true means (n x 3), clipped above 0.9."""
    grain = 1.0 + texture * rng.standard_normal(len(means)) / np.sqrt(48)
    out = []
    for k, r in enumerate(TRUE_RATIOS):
        level = r * means * grain[:, None]
        if change is not None:
            level = level * change[k]
        sd = np.sqrt(NOISE.variance(level) / CELLS)
        mean = level + sd * rng.standard_normal(level.shape)
        usable = level < 0.9
        mean = np.where(usable, mean, np.nan)
        whole = usable.all(axis=1)
        covariance = sd[:, :, None] ** 2 * np.eye(3) + texture**2 / 48 * level[:, :, None] * level[:, None, :]
        n = len(means)
        signals = Signals(
            mean=np.where(whole[:, None], mean, np.nan),
            covariance=covariance,
            scatter=covariance * 48,
            clipped=np.where(whole, 0.0, 1.0),
            at_zero=np.zeros((n, 3)),
            blocks=np.full(n, 48),
            block_cells=np.full(n, CELLS / 48),
        )
        out.append(Shown(signals, mean, usable, np.full((n, 3), CELLS), NOISE, np.zeros((n, 3))))
    return out


MEANS = np.array([[0.5, 0.3, 0.1], [0.03, 0.08, 0.02], [0.006, 0.001, 0.004], [0.0012, 0.002, 0.0005]])


def test_the_ratios_come_from_the_samples_and_not_from_rounded_shutter_times():
    for seed in range(5):
        merged = merge_signals(exposures(MEANS, np.random.default_rng(seed)), told())
        sd = np.sqrt(np.diag(merged.ratios.covariance))
        assert sd.max() < 0.01
        assert (np.abs(np.log(merged.ratios.value / TRUE_RATIOS))[1:] < 4 * sd[1:]).all()


def test_without_a_sample_seen_twice_the_told_ratio_stands_with_its_error():
    means = np.array([[0.5, 0.5, 0.5]])
    merged = merge_signals(exposures(means, np.random.default_rng(1)), told())
    assert merged.ratios.value == pytest.approx([1, 4, 16, 64])
    assert np.sqrt(np.diag(merged.ratios.covariance))[1:] == pytest.approx(np.full(3, 0.05))


def test_known_ratios_give_means_of_least_variance():
    """Weighted mean of independent measurements: variance 1 / sum of 1/s_k^2 (Bevington and Robinson, Data
    Reduction, section 4.1; from memory), s_k the noise of exposure k divided by its ratio (EMVA 1288).
    """
    level = TRUE_RATIOS[:, None, None] * MEANS
    s = np.sqrt((NOISE.gain * level + NOISE.floor) / CELLS) / TRUE_RATIOS[:, None, None]
    least = 1.0 / np.where(level < 0.9, s**-2.0, 0.0).sum(axis=0)
    known, draws = told(1e-7, TRUE_RATIOS), range(300)
    found = [merge_signals(exposures(MEANS, np.random.default_rng(k)), known).signals for k in draws]
    dim = slice(1, None)  # the first region is answered from the one exposure that shows it whole
    told_variance = np.diagonal(found[0].covariance, axis1=1, axis2=2)[dim]
    assert told_variance / least[dim] == pytest.approx(np.ones((3, 3)), rel=0.02)
    scatter = np.var([f.mean[dim] for f in found], axis=0)
    assert scatter / least[dim] == pytest.approx(np.ones((3, 3)), abs=0.33)  # 4 sigma of 300 draws
    assert np.mean(scatter / least[dim]) == pytest.approx(1.0, abs=0.1)


def test_means_scatter_as_their_covariance_says():
    """2.5-97.5 % of chi-square with 3 degrees of freedom, mean 3 (Monte Carlo, 60 draws of 4 regions)."""
    squared = []
    for seed in RNG_SEEDS:
        merged = merge_signals(exposures(MEANS, np.random.default_rng(seed)), told())
        error = merged.signals.mean - MEANS
        squared += list(
            np.einsum("ni,ni->n", error, np.linalg.solve(merged.signals.covariance, error[..., None])[..., 0])
        )
    assert np.mean(squared) == pytest.approx(3.0, abs=0.5)


def test_unevenness_does_not_average_away():
    """Ten times the noise: the powder's grain, equal in all exposures, stays in the covariance whole."""
    merged = merge_signals(exposures(MEANS, np.random.default_rng(2), texture=0.1), told())
    sd = np.sqrt(merged.signals.covariance[:, 1, 1]) / MEANS[:, 1]
    assert sd == pytest.approx(np.full(4, 0.1 / np.sqrt(48)), rel=0.15)


def test_several_exposures_are_better_than_the_best_of_them():
    few = [np.std([_error(seed, n) for seed in RNG_SEEDS]) for n in (1, 4)]
    assert few[1] < few[0]


def _error(seed, n):
    """Of the dim region's mean, relative, from the last n exposures."""
    shown = exposures(MEANS[3:], np.random.default_rng(seed))[-n:]
    if n == 1:
        return shown[0].mean[0, 1] / TRUE_RATIOS[-1] / MEANS[3, 1] - 1
    exact = Ratios(TRUE_RATIOS, np.diag([0.0, 1e-12, 1e-12, 1e-12]))
    return merge_signals(shown, exact).signals.mean[0, 1] / MEANS[3, 1] - 1


def test_an_error_of_the_ratio_is_one_of_brightness_and_not_of_colour():
    """Along the mean itself, which moves no chromaticity, where all channels share their exposures."""
    means = np.array([[0.5, 0.5, 0.5], [0.002, 0.002, 0.002]])
    merged = merge_signals(exposures(means, np.random.default_rng(1)), told(sd=0.05))
    C = merged.signals.covariance[1]
    along = np.full(3, 1 / np.sqrt(3))
    across = np.array([1, -1, 0]) / np.sqrt(2)
    assert along @ C @ along > 10 * across @ C @ across


def test_a_sample_that_faded_between_exposures_is_told_and_answered_from_one():
    fading = np.array([1.0, 0.9, 0.8, 0.7])
    shown = exposures(MEANS, np.random.default_rng(1))
    faded = exposures(MEANS[2:3], np.random.default_rng(2), change=fading)
    mixed = [_joined(a, b) for a, b in zip(shown, faded, strict=True)]
    merged = merge_signals(mixed, told())
    assert list(merged.disagree) == [False, False, False, False, True]
    k = 3  # unclipped in all: the longest exposure
    assert merged.signals.mean[4] == pytest.approx(mixed[k].mean[4] / merged.ratios.value[k])


def _joined(a, b):
    signals = Signals(
        *(np.concatenate([getattr(a.signals, f), getattr(b.signals, f)]) for f in a.signals.__dict__)
    )
    rest = (np.concatenate([getattr(a, f), getattr(b, f)]) for f in ("mean", "usable", "cells"))
    return Shown(signals, *rest, NOISE, np.concatenate([a.fixed, b.fixed]))


def test_a_region_clipped_in_every_exposure_has_no_colour():
    means = np.array([[0.5, 0.3, 0.1], [2.0, 2.0, 2.0]])
    merged = merge_signals(exposures(means, np.random.default_rng(1)), told())
    assert np.isfinite(merged.signals.mean[0]).all()
    assert np.isnan(merged.signals.mean[1]).all()
    assert merged.signals.clipped[1] == 1.0
