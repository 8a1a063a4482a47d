from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from glowkin.colour.difference import delta_e_2000, delta_uv_prime, n_step

PAIRS = np.loadtxt(Path(__file__).parent / "data" / "ciede2000_pairs.csv", delimiter=",")


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: f"pair {row[0]:.0f}")
def test_ciede2000_of_the_published_pairs(row: np.ndarray) -> None:
    # Sharma, Wu, Dalal 2005, table 1 (four decimals); the difference is the same both ways.
    assert delta_e_2000(row[1:4], row[4:7]) == pytest.approx(row[7], abs=5e-5)
    assert delta_e_2000(row[4:7], row[1:4]) == pytest.approx(row[7], abs=5e-5)


def test_all_34_pairs_are_there_and_can_be_taken_at_once() -> None:
    assert PAIRS.shape == (34, 8)
    at_once = delta_e_2000(PAIRS[:, 1:4].reshape(2, 17, 3), PAIRS[:, 4:7].reshape(2, 17, 3))
    np.testing.assert_allclose(at_once.ravel(), PAIRS[:, 7], atol=5e-5)


def test_uv_prime_distance_is_a_length() -> None:
    # Pythagoras, 3-4-5; any leading shape, and broadcasting.
    a = np.zeros((4, 3, 2))
    np.testing.assert_allclose(delta_uv_prime(a, [0.03, 0.04]), np.full((4, 3), 0.05))
    assert np.isnan(delta_uv_prime([np.nan, 0.1], [0.1, 0.1]))


def test_one_step_is_0_0011() -> None:
    # CIE TN 001:2014 (from memory): the n-step circle has radius 0.0011 n.
    np.testing.assert_allclose(n_step([0.0011, 0.0033, 0.0]), [1.0, 3.0, 0.0])
