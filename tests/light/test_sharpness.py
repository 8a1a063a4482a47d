"""Edge widths against the geometry of what blurred them."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from glowkin.light.metadata import Metadata
from glowkin.light.noise import estimate_noise
from glowkin.light.photo import Photograph
from glowkin.light.sharpness import edges

LINEAR = np.repeat(np.linspace(0.0, 1.0, 65536, dtype=np.float32)[:, None], 3, axis=1)
RADIUS, SIZE = 60, 240


def disc(radius=RADIUS, level=0.5):
    """An even disc on black with an edge one pixel wide, h x w."""
    y, x = np.mgrid[:SIZE, :SIZE] - SIZE / 2
    return level * np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0)


def photo_of(light):
    codes = np.repeat(np.round(65535 * light).astype(np.uint16)[..., None], 3, axis=2)
    return Photograph(
        Path("a.png"), "", "rendered", codes, 65535, Metadata(), (np.eye(3),), "linear", curves=LINEAR
    )


def outline(radius=RADIUS - 5):
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    return SIZE / 2 + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def edge_of(light, shape=None):
    photo = photo_of(light)
    return edges(photo, [outline() if shape is None else shape], estimate_noise(photo))[0]


def test_a_sharp_edge_is_a_few_pixels_wide():
    edge = edge_of(disc())
    assert edge.width_px < 4.0
    assert edge.radius_px == pytest.approx(RADIUS - 5, rel=0.01)


def test_an_edge_blurred_by_a_disc_is_as_wide_as_geometry_says():
    """The line spread of a disc of radius r peaks at 2 r / (pi r^2); one over it is pi r / 2."""
    r = 12
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1)).astype(np.float32)
    edge = edge_of(cv2.filter2D(disc(), -1, kernel / kernel.sum()))
    assert edge.width_px == pytest.approx(np.pi * r / 2, rel=0.12)
    assert np.nanstd(edge.widths_px) < 0.1 * edge.width_px


def test_a_sideways_shake_widens_the_edges_across_it_only():
    """A box of length L spreads an edge across it evenly over L pixels."""
    edge = edge_of(cv2.blur(disc(), (21, 1)))
    across = np.abs(np.cos(edge.directions))
    assert np.nanmedian(edge.widths_px[across > 0.98]) == pytest.approx(21, rel=0.1)
    assert np.nanmedian(edge.widths_px[across < 0.2]) < 7


def test_light_spread_over_glass_is_a_skirt_and_blur_is_not():
    """A ring of 0.3 of the disc's light out to 1.2 radii: its share of the step is the skirt."""
    misty = np.maximum(disc(), 0.3 * disc(1.22 * RADIUS))
    assert edge_of(misty).skirt == pytest.approx(0.3, abs=0.05)
    assert edge_of(disc()).skirt == pytest.approx(0.0, abs=0.02)
    assert edge_of(cv2.GaussianBlur(disc(), (0, 0), 4)).skirt < 0.1


def test_noise_hides_an_edge_rather_than_narrowing_it():
    rng = np.random.default_rng(1)
    noisy = np.clip(disc(level=0.02) + 0.1 + 0.05 * rng.standard_normal((SIZE, SIZE)), 0, 1)
    assert not np.isfinite(edge_of(noisy).widths_px).any()


def test_a_sample_too_small_to_have_an_edge_tells_nothing():
    edge = edge_of(disc(6), outline(5))
    assert edge.widths_px.size == 0
    assert np.isnan(edge.width_px)
    assert np.isnan(edge.skirt)
