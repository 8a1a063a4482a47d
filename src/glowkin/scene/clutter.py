"""What else stands in a photograph and is no sample: glints, menisci, caps, labels, fingers. All invented.

Powers are in the units of the samples beside them: the brightest sample of a scene emits 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.scene.spectra import lamp_violet, skewed_band

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array: TypeAlias = "NDArray[np.float64]"

KINDS = ("glint", "meniscus", "cap", "label", "finger")


@dataclass(frozen=True)
class Thing:
    """An object under the lamp: polygon ``outline_px`` (n x 2) and the power per nm it sends back.

    ``opacity`` is the share of what lies beneath that it hides, ``soft_px`` the blur of its edge, ``holes``
    polygons left out of it (print on a label).
    """

    kind: str
    outline_px: Array = field(repr=False)
    radiance: Array = field(repr=False)
    opacity: float = 1.0
    soft_px: float = 1.0
    holes: tuple[Array, ...] = field(default=(), repr=False)


def brightener(power: float) -> Array:
    """The blue of optical brighteners in paper and cotton, near 440 nm (common practice, no source)."""
    return power * skewed_band(440.0, 55.0)


def glint(rng: np.random.Generator, centre_px: Array, radius_px: float) -> Thing:
    """A reflection of the torch on the glass of a vial: small, bright, in the lamp's own violet."""
    at = centre_px + _towards(rng, radius_px * rng.uniform(1.05, 1.2))
    size = radius_px * rng.uniform(0.04, 0.12), radius_px * rng.uniform(0.03, 0.06)
    light = rng.uniform(0.3, 3.0) * lamp_violet()
    return Thing("glint", _ellipse(at, size, rng.uniform(0, np.pi)), light, opacity=0.0)


def meniscus(rng: np.random.Generator, centre_px: Array, radius_px: float, radiance: Array) -> Thing:
    """A bright line of the sample's own light along the inside of the glass."""
    angle = rng.uniform(0, 2 * np.pi) + np.linspace(0.0, rng.uniform(0.8, 2.2), 40)
    outer, inner = 1.17 * radius_px, (1.17 - rng.uniform(0.025, 0.05)) * radius_px
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    outline = np.concatenate([centre_px + outer * ring, centre_px + inner * ring[::-1]])
    return Thing("meniscus", outline, rng.uniform(0.3, 0.8) * radiance, opacity=0.0)


def cap(rng: np.random.Generator, centre_px: Array, radius_px: float) -> Thing:
    """A plastic cap lying beside its vial: lamp violet thrown back, and a trace of blue of its own."""
    light = rng.uniform(0.05, 0.3) * lamp_violet() + brightener(rng.uniform(0.0, 0.03))
    size = radius_px * rng.uniform(0.7, 1.0), radius_px * rng.uniform(0.35, 0.55)
    return Thing("cap", _rectangle(centre_px, size, rng.normal(0, 0.1)), light, soft_px=1.5)


def label(rng: np.random.Generator, centre_px: Array, radius_px: float) -> Thing:
    """A paper label: it glows with its brightener, three lines of print do not."""
    size, turn = np.array([radius_px * 0.95, radius_px * 0.5]), rng.normal(0, 0.08)
    rows = [np.array([rng.uniform(-0.1, 0.1), y]) * size for y in (-0.5, 0.0, 0.5)]
    print_size = size * (0.7, 0.09)
    holes = tuple(_rectangle(centre_px + _turned(row[None], turn)[0], print_size, turn) for row in rows)
    light = brightener(rng.uniform(0.05, 0.4)) + rng.uniform(0.0, 0.1) * lamp_violet()
    return Thing("label", _rectangle(centre_px, size, turn), light, holes=holes)


def finger(rng: np.random.Generator, size_px: tuple[int, int]) -> Thing:
    """A finger reaching in from the lower edge: skin throws violet back and glows faintly blue-white."""
    w, h = size_px
    width, length = h * rng.uniform(0.05, 0.08), h * rng.uniform(0.12, 0.2)
    x, lean = w * rng.uniform(0.1, 0.9), rng.normal(0, 0.2)
    angle = np.linspace(np.pi, 2 * np.pi, 30)
    tip = np.stack([np.cos(angle) * width, np.sin(angle) * width - length], axis=1)
    root = np.array([[width, 0.3 * h], [-width, 0.3 * h]])
    light = rng.uniform(0.03, 0.15) * lamp_violet() + rng.uniform(0.005, 0.03) * skewed_band(470.0, 110.0)
    outline = _turned(np.concatenate([tip, root]), lean) + np.array([x, h])
    return Thing("finger", outline, light, soft_px=2.5)


def _towards(rng: np.random.Generator, distance: float) -> Array:
    angle = rng.uniform(0, 2 * np.pi)
    return distance * np.array([np.cos(angle), np.sin(angle)])


def _turned(points: Array, angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def _rectangle(centre: Array, half: tuple[float, float] | Array, angle: float) -> Array:
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=float) * np.asarray(half)
    return np.asarray(_turned(corners, angle) + centre)


def _ellipse(centre: Array, half: tuple[float, float], angle: float) -> Array:
    t = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return np.asarray(_turned(np.stack([np.cos(t) * half[0], np.sin(t) * half[1]], axis=1), angle) + centre)
