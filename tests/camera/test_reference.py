"""A glow of known emission in the frame: checks, re-centring, and what it gains."""

from __future__ import annotations

import importlib.util
import sys

import numpy as np
import pytest

from glowkin.base.errors import CannotMeasureError
from glowkin.base.uncertainty import CHI2_95_2D, cross_covariance
from glowkin.camera.emission import Camera
from glowkin.camera.glows import known_glow
from glowkin.camera.grid import WAVELENGTH_NM
from glowkin.camera.reference import Seen, checked, recentred, references_seen
from glowkin.camera.sensitivities import Sensitivities, camera_prior
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.observer import spectrum_to_XYZ
from glowkin.colour.spaces import RGB_TO_XYZ

PRIOR = Camera("any camera", "generic", camera_prior().reduced())
JPEG = Camera("any file", "generic", space=RGB_TO_XYZ["sRGB"], balance=0.1)
FEW = camera_prior().reduced(6)
NARROW = Camera("a camera", "chart", Sensitivities(FEW.mean, 0.5 * FEW.loadings))
NO_NOISE = np.zeros((1, 3, 3))


def a_camera(seed, camera=PRIOR):
    """Sensitivities drawn from what is known of a camera."""
    known = camera.sensitivities
    z = np.random.default_rng(seed).standard_normal(known.loadings.shape[2])
    return np.maximum(known.mean + known.loadings @ z, 0.0)


def seen(kind, rgb, sample="vial", noise=0.003):
    return Seen(sample, known_glow(kind), rgb, np.diag(np.square(noise * rgb)))


def band(peak, width):
    return np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - peak) / width) ** 2)


@pytest.fixture(scope="module")
def bench(root):
    """benchmarks/reference.py: cameras without their maker, spectra of shapes the prior does not hold."""
    folder = str(root / "benchmarks")
    sys.path.insert(0, folder)
    try:
        spec = importlib.util.spec_from_file_location("reference_benchmark", f"{folder}/reference.py")
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(folder)
    return module


def test_no_reference_leaves_the_camera_as_it_is():
    assert recentred(PRIOR, [], 2, "a") is PRIOR
    assert checked(PRIOR, [], 2) == []


# Independent: the same knowledge by drawing cameras and spectra and weighing them by what is seen of the
# reference (importance sampling), no derivatives.
def test_the_camera_moves_and_narrows_as_weighing_drawn_cameras_does():
    camera = a_camera(3, NARROW)
    glow = known_glow("fluorescein")
    one = seen("fluorescein", camera @ glow.mean, noise=0.03)
    known, rng, n = NARROW.sensitivities, np.random.default_rng(0), 60_000
    z, e = rng.standard_normal((n, known.loadings.shape[2])), rng.standard_normal((n, len(glow.modes)))
    spectra = glow.mean + e @ glow.modes
    at = spectra @ known.mean.T + np.einsum("nw,cwr,nr->nc", spectra, known.loadings, z, optimize=True)
    expected = one.rgb / one.rgb.sum()
    share = at / at.sum(axis=1, keepdims=True)
    J = np.hypot(0.03, 0.01) * (np.diag(expected) - np.outer(expected, expected))
    away = (share - expected)[:, ::2]
    w = np.exp(-0.5 * np.einsum("ni,ij,nj->n", away, np.linalg.inv((J @ J.T)[::2, ::2]), away))
    w /= w.sum()
    assert 1 / np.square(w).sum() > 300
    test = np.stack([band(500, 60), band(535, 40), band(560, 80)])
    drawn = np.einsum("tw,cwr,nr->ntc", test, known.loadings, z, optimize=True) + test @ known.mean.T
    drawn = np.maximum(drawn, 1e-3 * drawn.max())
    ratio = np.log(drawn[..., 0] / drawn[..., 1])
    mean = w @ ratio
    spread = np.sqrt(w @ np.square(ratio - mean))
    moved = recentred(NARROW, [one], 2, "a").sensitivities
    rgb = test @ moved.mean.T
    L = np.einsum("tw,cwr->tcr", test, moved.loadings)
    d = L[:, 0] / rgb[:, :1] - L[:, 1] / rgb[:, 1:2]
    assert np.log(rgb[:, 0] / rgb[:, 1]) == pytest.approx(mean, abs=0.5 * spread.max())
    assert np.sqrt(np.square(d).sum(axis=1)) == pytest.approx(spread, rel=0.25)
    before = np.sqrt(np.square(np.einsum("tw,cwr->tcr", test, known.loadings)).sum(axis=2))
    assert (np.sqrt(np.square(L).sum(axis=2)) <= before * 1.02).all()


@pytest.mark.parametrize("camera", [PRIOR, JPEG], ids=["raw", "rendered"])
@pytest.mark.parametrize(
    ("said", "true"), [("fluorescein", "quinine-sulfate"), ("quinine-sulfate", "fluorescein")]
)
def test_a_reference_that_is_something_else_is_off(camera, said, true):
    shown = known_glow(true).mean
    rgb = np.clip(camera.sensitivities.mean @ shown if camera is PRIOR else _sRGB(shown), 0, None)
    (check,) = checked(camera, [seen(said, rgb)], 2)
    assert check.off
    assert check.deviation > 0.1


@pytest.mark.parametrize("kind", ["fluorescein", "quinine-sulfate"])
def test_a_reference_as_said_is_not_off(kind):
    for seed in range(8):
        camera = a_camera(seed)
        (check,) = checked(PRIOR, [seen(kind, camera @ known_glow(kind).mean)], 2)
        assert not check.off
        assert check.deviation <= check.allowed


def _sRGB(spectrum):
    XYZ = spectrum_to_XYZ(WAVELENGTH_NM, spectrum)
    return np.linalg.solve(RGB_TO_XYZ["sRGB"], XYZ / XYZ.sum())


def test_errors_of_the_camera_stay_shared_with_photographs_that_have_no_reference():
    camera = a_camera(5)
    one = seen("fluorescein", camera @ known_glow("fluorescein").mean)
    with_it, other = (recentred(PRIOR, [one], 2, name) for name in ("a", "b"))
    rgb = (band(560, 80) @ camera.T)[None]
    a, b, plain = (c.infer(rgb, NO_NOISE).uncertain(0) for c in (with_it, other, PRIOR))
    assert np.trace(cross_covariance(a, plain)) > 0
    assert np.trace(cross_covariance(a, b)) > np.trace(cross_covariance(a, plain)) * 0.2
    assert {"reference fluorescein", "reference in a"} <= set(a.shared)
    assert "reference in b" not in a.shared
    assert a.covariance == pytest.approx(a.own + sum(S @ S.T for S in a.shared.values()))


def test_two_references_tell_more_than_one():
    camera = a_camera(6)
    both = [seen(k, camera @ known_glow(k).mean, k) for k in ("fluorescein", "quinine-sulfate")]
    known = [recentred(PRIOR, some, 2, "a").sensitivities for some in (both[:1], both[1:], both)]
    spread = [np.square(k.loadings).sum() for k in known]
    assert spread[2] < min(spread[:2])


def test_a_name_that_is_not_in_the_photograph_is_told():
    known, none = [("vial", "fluorescein")], np.zeros((2, 3, 3))
    with pytest.raises(CannotMeasureError, match=r"a\.dng: --reference vial: no such sample; there are S1"):
        references_seen(known, ["S1", "S2"], np.ones((2, 3)), none, "a.dng")


def test_a_reference_that_shows_no_light_checks_nothing():
    dark, none = np.full((1, 3), np.nan), np.zeros((1, 3, 3))
    assert references_seen([("S1", "fluorescein")], ["S1"], dark, none, "a.dng") == []


def gain(bench, folder, mode, kind, every, near):
    """Errors and whether covered, without and with the reference, over cameras left out of the prior."""
    cams, rng, out = bench.cameras(folder), np.random.default_rng(5), {"without": [], "with": []}
    for name, S5 in list(cams.items())[::every]:
        S = np.stack([np.interp(WAVELENGTH_NM, bench.WL, row) for row in S5])
        S /= S.sum(axis=1, keepdims=True)
        spectra, glow = bench.samples(rng, 60), bench.shapes(rng, kind)
        true = XYZ_to_uv_prime(spectrum_to_XYZ(WAVELENGTH_NM, spectra))
        if mode in bench.WAYS:
            camera = bench.WAYS[mode](S, bench.without(cams, name), rng)
            rgb, shown = spectra @ S.T, glow @ S.T
        else:
            camera = Camera("file", "generic", space=RGB_TO_XYZ["sRGB"], balance=0.35)
            both = bench.rendered_by(S, np.vstack([spectra, glow]), 0.35, rng)
            rgb, shown = both[:-1], both[-1]
        one = Seen("vial", bench.known(kind, glow, rng), shown, np.diag(np.square(0.003 * shown) + 1e-12))
        close = np.hypot(*(true - XYZ_to_uv_prime(spectrum_to_XYZ(WAVELENGTH_NM, glow))).T) < near
        (check,) = checked(camera, [one], 2)
        better = recentred(camera, [] if check.off else [one], 2, "a", check.stretched)
        for way, by in (("without", camera), ("with", better)):
            error, d2, semi = bench.figures(by, rgb[close], true[close])
            out[way].append(np.stack([error, d2 < CHI2_95_2D, semi]))
    return {way: np.concatenate(rows, axis=1) for way, rows in out.items()}


# Cameras of makers that the prior does not know; log-normal and exponentially broadened spectra in nm.
@pytest.mark.parametrize(
    ("mode", "kind", "every", "near", "factor", "narrower"),
    [
        # What a maker's matrices tell is used up already: the region narrows, the errors stay.
        ("matrices", "quinine-sulfate", 2, 0.06, 1.1, 0.85),
        ("automatic", "measured", 5, 0.06, 0.6, 1.15),
        ("automatic", "measured", 5, 9.0, 0.7, 1.15),
    ],
)
def test_colours_get_better_by_a_reference(bench, shared_data, mode, kind, every, near, factor, narrower):
    found = gain(bench, shared_data / "cameras", mode, kind, every, near)
    without, with_it = found["without"], found["with"]
    assert np.median(with_it[0]) < factor * np.median(without[0])
    assert with_it[1].mean() > 0.92
    assert np.median(with_it[2]) < narrower * np.median(without[2])
