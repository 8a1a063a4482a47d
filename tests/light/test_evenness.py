"""Fall-off and bands found again in frames painted with them by hand."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.light.evenness import bands, fall_off, patches
from glowkin.light.linear import Frame

W, H = 300, 200
CENTRES = [(50, 50), (150, 60), (250, 50), (60, 150), (150, 140), (240, 150)]
X, Y = np.meshgrid(np.arange(W) + 0.5, np.arange(H) + 0.5)


def circle(centre, radius):
    angle = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    return np.array(centre) + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def read(field, texture=0.04):
    """Patches of six discs of different brightness, each with a dome and grain of its own, under a field."""
    rng = np.random.default_rng(3)
    light = np.full((H, W), 1e-4)
    for x, y in CENTRES:
        rho = np.hypot(X - x, Y - y) / 30
        light = np.where(rho < 1, rng.uniform(0.1, 0.5) * (1 - 0.2 * rho**2), light)
    light = light * field * (1 + texture * rng.standard_normal((H, W)))
    frame = Frame(np.repeat(light.astype(np.float32)[..., None], 3, axis=2), 1)
    return patches(frame, [circle(c, 27) for c in CENTRES])


def test_an_even_light_shows_neither_fall_nor_bands():
    p = read(np.ones((H, W)))
    assert fall_off(p, W / H).fall_stops < 0.2
    assert fall_off(p, W / H).explained < 0.2
    assert bands(p, W / H).depth < 0.03


def test_a_torch_s_beam_is_found_where_it_points():
    """A Gaussian beam, not the bell the fit assumes; the fall between samples follows from it."""
    at = np.array([75.0, 60.0])
    squared = (X - at[0]) ** 2 + (Y - at[1]) ** 2
    found = fall_off(read(np.exp(-0.5 * squared / 130**2)), W / H)
    away = [np.sum((np.array(c) - at) ** 2) for c in CENTRES]
    stops = 0.5 * (max(away) - min(away)) / 130**2 / np.log(2)
    assert found.fall_stops == pytest.approx(stops, rel=0.15)
    assert found.centre == pytest.approx(at / (W, H), abs=0.1)
    assert found.explained > 0.5


@pytest.mark.parametrize("along_rows", [True, False])
def test_bands_are_counted_and_their_depth_is_read(along_rows):
    place = Y / H if along_rows else X / W
    found = bands(read(1 + 0.15 * np.sin(2 * np.pi * 4 * place + 1)), W / H, along_rows=along_rows)
    assert found.along_rows is along_rows
    assert found.count == pytest.approx(4, abs=0.3)
    assert found.depth == pytest.approx(0.3, rel=0.2)


def test_nothing_to_read_is_no_finding():
    frame = Frame(np.zeros((H, W, 3), np.float32), 1)
    assert bands(patches(frame, []), W / H) is None
    assert fall_off(patches(frame, []), W / H) is None
