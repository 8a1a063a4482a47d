from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.scene import spectra, stage

OracleXYZ = Callable[[np.ndarray], np.ndarray]

MATTERS = [2, 5, 12, 20]


@pytest.mark.parametrize("n", MATTERS)
def test_random_samples_do_not_touch_and_lie_inside(n: int) -> None:
    import cv2

    scene = stage.random_scene(np.random.default_rng(n), n, size_px=(900, 600), min_gap_px=10.0)
    cover = np.zeros((600, 900), np.uint8)
    for truth in scene.truths():
        one = np.zeros_like(cover)
        cv2.fillPoly(one, [np.rint(truth.outline_px).astype(np.int32)], 1)
        cover += cv2.dilate(one, np.ones((9, 9), np.uint8))
    assert len(scene.samples) == n
    assert cover.max() == 1


def test_brightness_spans_the_ratio_asked_for() -> None:
    scene = stage.random_scene(np.random.default_rng(0), 6, 10.0)
    powers = [s.radiance.sum() for s in scene.samples]
    assert max(powers) / min(powers) == pytest.approx(10.0)


def test_truths_agree_with_an_independent_implementation(oracle_XYZ: OracleXYZ) -> None:
    colour = pytest.importorskip("colour")
    scene = stage.random_scene(np.random.default_rng(5), 4)
    for truth in scene.truths():
        XYZ = oracle_XYZ(truth.spectrum)
        uv = colour.Luv_uv_to_xy  # the inverse, so that only one of the two can hide an error
        assert uv([truth.u_prime, truth.v_prime]) == pytest.approx(colour.XYZ_to_xy(XYZ), abs=1e-5)


def test_the_same_seed_gives_the_same_scene() -> None:
    one, two = (stage.random_scene(np.random.default_rng(7), 5) for _ in range(2))
    assert one == two


def test_luminance_is_set_as_asked() -> None:
    from glowkin.scene.truth import luminance

    assert luminance(stage.with_luminance(spectra.band(640.0, 85.0), 0.3)) == pytest.approx(0.3)


def test_the_blank_has_no_colour() -> None:
    scene = stage.plain_scene((100, 100), [np.zeros(471)])
    truth = scene.truths()[0]
    assert truth.colour is None
    assert np.isnan(truth.u_prime)


def test_a_crowd_that_cannot_fit_is_refused() -> None:
    with pytest.raises(WrongUseError, match="do not fit"):
        stage.random_scene(np.random.default_rng(0), 25, size_px=(120, 100), min_gap_px=20.0)


def test_the_grid_reads_left_to_right_then_top_to_bottom() -> None:
    centres = stage.grid_centres((400, 300), 4, 3)
    assert centres == sorted(centres, key=lambda c: (c[1], c[0]))
    assert np.mean(centres, axis=0) == pytest.approx((199.5, 149.5))
