"""Outlines to map by. Truths: geometry of the turn and zoom that the test makes."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample
from glowkin.findings.mapped import outline_of

CENTRES = {"a": (100.0, 100.0), "b": (400.0, 110.0), "c": (250.0, 300.0)}
RING = np.stack([np.cos(np.arange(12) * np.pi / 6), np.sin(np.arange(12) * np.pi / 6)], axis=1)


def turned(points, turn_deg, zoom):
    a = np.radians(turn_deg)
    R = zoom * np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return (np.asarray(points) - 200) @ R.T + 200


def photo(turn_deg=0.0, zoom=1.0, radius=50.0, names="abc"):
    """Vials of this radius; the first shows only a part of itself where it is smaller."""
    samples = []
    for name in names:
        centre = turned([CENTRES[name]], turn_deg, zoom)[0]
        r = radius if name == "a" else 50.0 * zoom
        outline = tuple((float(x), float(y)) for x, y in centre + r * RING)
        samples.append(Sample(name, (float(centre[0]), float(centre[1])), np.pi * r**2, outline))
    camera = CameraUsed("one", "generic")
    return MeasuredPhoto(
        "1.dng", "0" * 64, "2026-05-04T09:00", 0.1, 100.0, 4.0, "raw", (800, 600), camera, "E",
        (1 / 3, 1 / 3), 2, (), tuple(samples),
    )  # fmt: skip


def test_a_whole_outline_is_taken_as_it_is():
    here = photo(3.0, 1.05, radius=50.0)
    assert outline_of(here, "a", photo()) == here.sample("a").outline_px


def test_that_of_a_part_is_made_whole_by_another_photograph():
    found = np.array(outline_of(photo(3.0, 1.05, radius=30.0), "a", photo()))
    expected = turned(np.array(CENTRES["a"]) + 50.0 * RING, 3.0, 1.05)
    assert found == pytest.approx(expected, abs=0.01)


def test_with_too_few_samples_beside_it_stays_as_it_is():
    here = photo(radius=30.0, names="ab")
    assert outline_of(here, "a", photo()) == here.sample("a").outline_px
    assert outline_of(here, "c", photo()) == ()
