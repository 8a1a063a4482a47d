from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glowkin.samples.follow import follow

ROWS = np.array([(x, y) for y in (100.0, 300.0, 500.0) for x in (100.0, 350.0, 600.0, 850.0)])


def moved(points, shift=(0.0, 0.0), turn_deg=0.0, zoom=1.0, centre=(475.0, 300.0)):
    t = np.radians(turn_deg)
    R = zoom * np.array([[np.cos(t), -np.sin(t)], [np.sin(t), np.cos(t)]])
    return (points - centre) @ R.T + centre + shift


def test_the_same_photograph_is_followed_and_did_not_move():
    step = follow(ROWS, ROWS)
    assert step.place == tuple(range(12))
    assert not step.moved


@given(
    dx=st.floats(-45, 45), dy=st.floats(-45, 45), turn=st.floats(-4, 4), zoom=st.floats(0.94, 1.06),
    seed=st.integers(0, 999),
)  # fmt: skip
def test_shift_turn_and_zoom_by_some_per_cent_are_followed(dx, dy, turn, zoom, seed):
    rng = np.random.default_rng(seed)
    order = rng.permutation(12)
    seen = moved(ROWS, (dx, dy), turn, zoom)[order] + rng.normal(0, 2, (12, 2))
    assert follow(ROWS, seen).place == tuple(order)


@given(dx=st.floats(-40, 40), turn=st.floats(-3, 3), zoom=st.floats(0.96, 1.04), seed=st.integers(0, 999))
def test_missing_and_extra_samples_do_not_confuse(dx, turn, zoom, seed):
    rng = np.random.default_rng(seed)
    kept = np.sort(rng.choice(12, 9, replace=False))
    extra = np.array([(220.0, 200.0), (730.0, 400.0)])
    seen = moved(np.concatenate([ROWS[kept], extra]), (dx, 10.0), turn, zoom)
    assert follow(ROWS, seen).place == (*kept, -1, -1)


@pytest.mark.parametrize("lost", [0, 3])
def test_rows_that_lost_their_first_or_last_column_stay_where_they_are(lost):
    """Such rows lie one column further just as well, but the camera moved little."""
    kept = np.flatnonzero(np.arange(12) % 4 != lost)
    seen = moved(ROWS[kept], (5.0, 10.0), 0.0, 1.03)
    assert follow(ROWS, seen).place == tuple(kept)


def test_a_move_is_noticed():
    assert follow(ROWS, moved(ROWS, (20.0, 0.0))).moved
    assert not follow(ROWS, moved(ROWS, (2.0, 1.0))).moved


def test_one_sample_is_followed_anywhere():
    assert follow(np.array([[10.0, 10.0]]), np.array([[400.0, 80.0]])).place == (0,)


def test_a_stray_patch_beside_a_single_sample_is_left_out():
    step = follow(np.array([[100.0, 100.0]]), np.array([[500.0, 300.0], [104.0, 99.0]]))
    assert step.place == (-1, 0)


@pytest.mark.parametrize("shape", [(0, 2), (3, 2)])
def test_nothing_seen_or_nothing_known_gives_no_place(shape):
    assert follow(np.zeros((0, 2)), np.zeros(shape)).place == (-1,) * shape[0]
    assert follow(ROWS, np.zeros((0, 2))).place == ()


def test_two_samples_swapped_are_taken_for_unmoved():
    """Places, not colours, are followed: a swap is for the colours to tell."""
    assert follow(ROWS, ROWS[::-1]).place == tuple(range(11, -1, -1))
