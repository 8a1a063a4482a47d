"""Outlines drawn by hand, and outlines of other pictures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError
from glowkin.base.settings import Settings
from glowkin.light.metadata import Metadata
from glowkin.light.photo import Photograph
from glowkin.samples.drawn import drawn, laid
from glowkin.samples.find import found_from_outline
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.render import metered, photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

PHOTO = Photograph(
    Path("a.png"), "", "rendered", np.zeros((300, 450, 3), np.uint8), 254, Metadata(), (np.eye(3),), "sRGB"
)
SQUARE = [(100, 100), (200, 100), (200, 200), (100, 200)]


def moved(ring, x, y, scale=1.0):
    return [(scale * (a + x), scale * (b + y)) for a, b in ring]


def test_outlines_are_taken_in_their_order():
    found = drawn([moved(SQUARE, 50, 0), SQUARE], PHOTO)
    assert [f.centre_px for f in found] == [(200.0, 150.0), (150.0, 150.0)]
    assert [f.area_px for f in found] == [10_000.0] * 2
    assert not any(f.at_edge for f in found)


def test_one_drawn_a_little_beyond_the_frame_is_of_a_sample_at_its_edge():
    (found,) = drawn([moved(SQUARE, -130, 0)], PHOTO)
    assert found.at_edge


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        (
            moved(SQUARE, 500, 0),
            "outline 1 lies outside the photograph of 450 x 300 pixels, or half of",
        ),
        (moved(SQUARE, 310, 0), "lies outside .* pixels, x right, y down"),
        (moved(SQUARE, 0, 0, 4.0), "lies outside the photograph"),
        (moved(SQUARE, -170, -180), "lies outside the photograph"),
        (moved(SQUARE, 0, 0, 0.001), "outline 1 is only 0.1 x 0.1 pixels large; outlines are in pixels"),
        ([SQUARE[i] for i in (0, 2, 1, 3)], "outline 1 crosses itself; put its corners in order"),
        ([(10, 150), (440, 150), (10, 154), (440, 154)], "outline 1 crosses itself"),
    ],
)
def test_outlines_of_another_picture_or_scale_are_told(outline, words):
    with pytest.raises(CannotMeasureError, match=words):
        drawn([outline], PHOTO)


LARGE = replace(PHOTO, codes=np.zeros((3000, 4000, 3), np.uint8))
"""As large as photographs whose bands of gels and lines of plates are a thousand pixels long, a few wide."""


@pytest.mark.parametrize("degrees", [0.0, 1.0, 30.0, 90.0, 137.0])
@pytest.mark.parametrize(("length", "width"), [(1000, 3), (1500, 4), (3000, 5), (2400, 8)])
def test_a_thin_band_is_plain_and_one_that_is_twisted_is_not(length, width, degrees):
    turn = np.exp(1j * np.radians(degrees))
    corners = np.array([0, length, length + 1j * width, 1j * width]) - (length + 1j * width) / 2
    ring = [(2000 + z.real, 1500 + z.imag) for z in corners * turn]
    (found,) = drawn([[*ring, ring[0]]], LARGE)
    assert found.area_px == pytest.approx(length * width)
    with pytest.raises(CannotMeasureError, match="outline 1 crosses itself"):
        drawn([[ring[i] for i in (0, 2, 1, 3)]], LARGE)


def test_a_band_in_an_arc_is_plain():
    t = np.linspace(0, np.pi, 200)
    arc = np.exp(1j * np.concatenate([t, t[::-1]])) * np.repeat([1200.0, 1197.0], 200)
    assert len(drawn([[(2000 + z.real, 1500 + z.imag) for z in arc]], LARGE)) == 1


@pytest.mark.parametrize("n", [3, 5, 90, 2000])
def test_no_plain_ring_is_taken_for_one_that_crosses_itself(n):
    """Circles, stars and thin slivers, each its area by the plane's geometry."""
    angle = np.linspace(0, 2 * np.pi, n, endpoint=False)
    star = 60 * (1.0 + 0.5 * np.cos(5 * angle))
    for radius_x, radius_y in ((80, 80), (200, 2.5), (star, star), (3, 3)):
        ring = np.column_stack([220 + radius_x * np.cos(angle), 150 + radius_y * np.sin(angle)])
        assert len(drawn([ring.tolist()], PHOTO)) == 1


GRID = grid_centres((600, 400), 3, 2)
RINGS = [
    [(x + 20 * c, y + 20 * s) for c, s in zip(np.cos(np.arange(24)), np.sin(np.arange(24)), strict=True)]
    for x, y in GRID
]


def turned(points, degrees, zoom, shift):
    """About the middle of a frame of 600 x 400."""
    a = np.deg2rad(degrees)
    M = zoom * np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return (np.asarray(points) - (300, 200)) @ M.T + (300, 200) + np.asarray(shift)


@pytest.mark.parametrize("move", [(0, 1.0, (30, -20)), (3, 1.03, (15, 10)), (-5, 0.95, (-30, 20))])
@pytest.mark.parametrize("dark", [(), (2,), (1, 4), (0, 1, 2), (1, 2, 3, 4)])
def test_outlines_of_a_series_are_measured_where_the_camera_moved_them(move, dark, tmp_path):
    """Up to four of six vials went out since the outlines were drawn: those that glow tell where they are."""
    samples = tuple(
        SceneSample(
            f"s{i}", Shape("vial", c, 30), with_luminance(band(520 + 120 * (i % 2), 70), 0.05), seed=i
        )
        for i, c in enumerate(GRID)
    )
    a, zoom, shift = move
    columns = [turned(p, a, zoom, shift) for p in ((1, 0), (0, 1), (0, 0))]
    M = np.column_stack([columns[0] - columns[2], columns[1] - columns[2], columns[2]])
    out = tuple(replace(s, radiance=1e-5 * s.radiance) if i in dark else s for i, s in enumerate(samples))
    scene = Scene((600, 400), samples)
    exposure = metered(scene, default_camera(), Exposure(), 0.5)
    shots = {"first": scene, "later": replace(scene, samples=out, placement=tuple(map(tuple, M)))}
    first, later = (
        write_jpeg(
            photograph(s, default_camera(), np.random.default_rng(1), exposure), tmp_path / f"{name}.jpg"
        )
        for name, s in shots.items()
    )
    outlines = tuple(s.outline_px for s in recipes.measure(first).samples)
    seen = recipes.measure(later, Settings(outlines=outlines, series=True)).samples
    apart = np.linalg.norm(np.array([s.centre_px for s in seen])[:, None] - turned(GRID, *move), axis=2)
    assert sorted(apart.argmin(axis=1)) == list(range(6))
    assert apart.min(axis=1).max() < 1.5
    alone = recipes.measure(later, Settings(outlines=outlines)).samples  # one photograph is as it was drawn
    assert [s.outline_px for s in alone] == [pytest.approx(np.array(o), abs=0.06) for o in outlines]


def test_outlines_stay_where_too_few_glow_or_what_glows_is_elsewhere():
    glowing = [found_from_outline(turned(ring, 0, 1.0, (25, 0))) for ring in RINGS]
    assert np.array(laid(RINGS, glowing)) == pytest.approx(np.add(RINGS, (25, 0)), abs=1e-6)
    assert np.array(laid(RINGS, glowing[::5])) == pytest.approx(np.add(RINGS, (25, 0)), abs=1e-6)
    assert laid(RINGS, glowing[:1]) is RINGS
    assert laid(RINGS, [found_from_outline(np.array(ring)) for ring in RINGS]) is RINGS
    off = np.random.default_rng(2).uniform(-45, 45, (6, 2))
    others = [found_from_outline(np.array(ring) + o) for ring, o in zip(RINGS, off, strict=True)]
    assert laid(RINGS, others) is RINGS
