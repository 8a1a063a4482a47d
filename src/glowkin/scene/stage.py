"""What stands before the camera: samples of three shapes, their surroundings, and the light on them.

Coordinates are the sensor's pixels: x right, y down, the centre of the top-left pixel (0, 0). Powers are
sums over 1 nm steps; brightnesses are luminances.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.scene.spectra import band, emitters, lamp_violet, room_light
from glowkin.scene.truth import SampleTruth, colour_of, luminance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.scene.clutter import Thing

    Array: TypeAlias = "NDArray[np.float64]"

Pair = tuple[float, float]
Front = Callable[["Array", "Array"], "Array"]
"""How much of the light at a place is that of the second form, from radii off the centre and angle."""

KINDS = ("vial", "spot", "heap")
"""Those that scenes draw from at random; a gel's "band" is the fourth."""
_SQUARENESS = 5.0
IDENTITY = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
POWDER_ALBEDO = 0.75
CLOTH_ALBEDO = 0.04
RIM = 1.22
"""Outer radius of a vial's glass in radii of its powder."""


@dataclass(frozen=True)
class Shape:
    """A blob: ``radius_px`` times 1 + sum of a cos(k angle + phase) over the harmonics (k, a, phase).

    Or a band, as in a gel: an upright rectangle of rounded corners, ``aspect`` times as wide as high.
    """

    kind: str
    centre_px: Pair
    radius_px: float
    harmonics: tuple[tuple[int, float, float], ...] = ()
    aspect: float = 1.0

    def edge(self, angle: Array) -> Array:
        """Distance of the edge from the centre at each angle (radians)."""
        if self.kind == "band":
            x, y = np.abs(np.cos(angle)), np.abs(np.sin(angle)) * self.aspect
            return np.asarray(self.radius_px / (x**_SQUARENESS + y**_SQUARENESS) ** (1 / _SQUARENESS))
        waves = (a * np.cos(k * angle + phase) for k, a, phase in self.harmonics)
        return self.radius_px * (1.0 + sum(waves, np.zeros_like(angle)))

    def outline(self, n: int = 72) -> Array:
        """The edge as a polygon, n x 2."""
        angle = np.linspace(0.0, 2.0 * np.pi, n, endpoint=False)
        offset = np.stack([np.cos(angle), np.sin(angle)], axis=1) * self.edge(angle)[:, None]
        return np.asarray(np.array(self.centre_px) + offset)

    @property
    def reach_px(self) -> float:
        """The farthest the sample, its glass included, gets from its centre."""
        if self.kind == "vial":
            return self.radius_px * RIM
        return self.radius_px * (1.0 + sum(abs(a) for _, a, _ in self.harmonics))


@dataclass(frozen=True)
class SceneSample:
    """One sample: its shape, the power per nm it emits, and what it scatters.

    ``violet``: power of the lamp's visible leakage that comes back from it, whatever the surroundings give,
    and ``glass_violet`` from the rim of a vial.
    ``texture``: rms unevenness of its brightness. ``albedo`` is for room light and its neighbours' light.
    ``second``: what it would emit all in another form, and ``front`` which share of each place is in that.
    """

    name: str
    shape: Shape
    radiance: Array = field(repr=False, compare=False)
    violet: float = 0.0
    glass_violet: float = 0.0
    albedo: float = POWDER_ALBEDO
    texture: float = 0.07
    seed: int = 0
    second: Array | None = field(default=None, repr=False, compare=False)
    front: Front | None = field(default=None, repr=False, compare=False)

    @property
    def mean_radiance(self) -> Array:
        """Power per nm over the whole sample, wherever the front stands in it."""
        if self.front is None or self.second is None:
            return self.radiance
        rho, angle = np.meshgrid(np.sqrt((np.arange(200) + 0.5) / 200), np.pi * (np.arange(96) + 0.5) / 48)
        share = float(np.clip(self.front(rho, angle), 0.0, 1.0).mean())
        return np.asarray((1.0 - share) * self.radiance + share * self.second)


@dataclass(frozen=True)
class Scene:
    """Samples on matt black cloth under a lamp, and where the camera looks.

    ``lamp_unevenness`` is the lamp's fall from its brightest point ``lamp_centre`` (shares of the frame) to
    a frame's width away; ``vignetting`` the lens's loss in the corners; ``halo`` the share of light a lens
    spreads widely; ``crosslight`` how much of the samples' light falls on each other; ``placement`` the 2 x 3
    similarity from the stage to the sensor; ``surroundings_texture`` their unevenness in that
    of cloth; ``surroundings_glow`` the power per nm that paper or
    cotton in place of the cloth sends out; ``things`` what lies about besides, in pixels of the sensor.
    """

    size_px: tuple[int, int]
    samples: tuple[SceneSample, ...]
    surroundings_violet: float = 0.02
    surroundings_albedo: float = CLOTH_ALBEDO
    surroundings_texture: float = 1.0
    room: float = 0.0
    lamp: float = 1.0
    lamp_unevenness: float = 0.12
    lamp_centre: Pair = (0.46, 0.52)
    vignetting: float = 0.15
    halo: float = 0.012
    crosslight: float = 0.006
    placement: tuple[tuple[float, ...], ...] = IDENTITY
    surroundings_glow: Array | None = field(default=None, repr=False, compare=False)
    things: tuple[Thing, ...] = ()
    violet_spectrum: Array = field(default_factory=lamp_violet, repr=False, compare=False)
    room_spectrum: Array = field(default_factory=room_light, repr=False, compare=False)
    seed: int = 0

    def lamp_off(self) -> Scene:
        """The same scene with the lamp switched off: room light only."""
        return replace(self, lamp=0.0)

    def placed(self, points: Array) -> Array:
        """Points of the stage (n x 2) on the sensor."""
        A = np.array(self.placement)
        return np.asarray(points @ A[:, :2].T + A[:, 2])

    def truths(self) -> tuple[SampleTruth, ...]:
        """The known answers, one a sample, in the order of the samples."""
        levels = [luminance(s.mean_radiance) for s in self.samples]
        top = max([*levels, 0.0]) or 1.0
        return tuple(self._truth(s, level / top) for s, level in zip(self.samples, levels, strict=True))

    def _truth(self, sample: SceneSample, brightness: float) -> SampleTruth:
        centre = self.placed(np.array([sample.shape.centre_px]))[0]
        outline = self.placed(sample.shape.outline())
        points = tuple((float(x), float(y)) for x, y in outline)
        radiance = sample.mean_radiance
        colour = colour_of(radiance)
        return SampleTruth(
            sample.name, (float(centre[0]), float(centre[1])), points, colour, brightness, radiance
        )


def with_luminance(spectrum: Array, Y: float) -> Array:
    """The spectrum scaled to a luminance."""
    return np.asarray(spectrum * (Y / luminance(spectrum)))


def grid_centres(size_px: tuple[int, int], columns: int, rows: int, margin: float = 0.1) -> list[Pair]:
    """Centres of a grid in reading order: left to right, then top to bottom."""
    w, h = size_px
    xs = w * (margin + (1.0 - 2.0 * margin) * (np.arange(columns) + 0.5) / columns) - 0.5
    ys = h * (margin + (1.0 - 2.0 * margin) * (np.arange(rows) + 0.5) / rows) - 0.5
    return [(float(x), float(y)) for y in ys for x in xs]


def random_shape(rng: np.random.Generator, kind: str, centre_px: Pair, radius_px: float) -> Shape:
    """A shape of the kind; heaps are irregular, spots a little, vials round."""
    unrest = {"vial": 0.0, "spot": 0.03, "heap": 0.10}[kind]
    waves = [
        (k, unrest * rng.uniform(0.3, 1.0) / (k - 1), rng.uniform(0.0, 2.0 * np.pi)) for k in (2, 3, 4, 5)
    ]
    harmonics = tuple((k, float(a), float(p)) for k, a, p in waves if a > 0.0)
    return Shape(kind, centre_px, radius_px, harmonics)


def random_scene(
    rng: np.random.Generator,
    n_samples: int,
    brightness_ratio: float = 10.0,
    *,
    size_px: tuple[int, int] = (1500, 1000),
    min_gap_px: float = 12.0,
    kinds: tuple[str, ...] = KINDS,
    spectra: dict[str, Array] | None = None,
    violet: tuple[float, float] = (0.0, 0.05),
    surroundings_violet: float = 0.02,
    room: float = 0.0,
    halo: tuple[float, float] = (0.005, 0.015),
) -> Scene:
    """Up to about 25 samples that do not touch, anywhere on the stage, named A, B, .. in reading order.

    Emitted powers are log-uniform within ``brightness_ratio`` (the extremes both present from two samples
    on); ``violet`` bounds the lamp's leakage from each sample, in units of the brightest sample's power;
    ``halo`` bounds the share of light the lens spreads.
    """
    shelf = list((spectra or emitters()).values())
    shapes = _scatter(rng, n_samples, size_px, min_gap_px, kinds)
    powers = _powers(rng, n_samples, brightness_ratio)
    samples = tuple(
        SceneSample(
            name=_letter(i),
            shape=shape,
            radiance=shelf[int(rng.integers(len(shelf)))] * power,
            violet=float(rng.uniform(*violet)),
            glass_violet=float(rng.uniform(*violet)),
            texture=float(rng.uniform(0.03, 0.10)),
            seed=int(rng.integers(2**31)),
        )
        for i, (shape, power) in enumerate(zip(shapes, powers, strict=True))
    )
    return Scene(
        size_px,
        samples,
        surroundings_violet=surroundings_violet,
        room=room,
        halo=float(rng.uniform(*halo)),
        seed=int(rng.integers(2**31)),
    )


def row_of_vials(
    size_px: tuple[int, int],
    columns: int,
    rows: int,
    radiances: dict[str, Array],
    *,
    fill: float = 0.3,
    seed: int = 0,
) -> Scene:
    """Vials in a grid, one a radiance, in reading order; ``fill``: powder radius in grid steps."""
    centres = grid_centres(size_px, columns, rows)
    step = 0.8 * min(size_px[0] / columns, size_px[1] / rows)
    samples = tuple(
        SceneSample(name, Shape("vial", centre, fill * step), radiance, seed=seed * 1000 + i)
        for i, (centre, (name, radiance)) in enumerate(zip(centres, radiances.items(), strict=False))
    )
    return Scene(size_px, samples, seed=seed)


def touching_pair(size_px: tuple[int, int], radiances: tuple[Array, Array], overlap_px: float = 3.0) -> Scene:
    """Two heaps side by side whose edges overlap a little; the second lies on the first."""
    w, h = size_px
    radius = 0.16 * min(w, h)
    step = radius - 0.5 * overlap_px
    samples = tuple(
        SceneSample(_letter(i), Shape("spot", (w / 2 + side * step, h / 2), radius), radiance, seed=i)
        for i, (side, radiance) in enumerate(zip((-1.0, 1.0), radiances, strict=True))
    )
    return Scene(size_px, samples)


def plain_scene(size_px: tuple[int, int], radiances: list[Array]) -> Scene:
    """Even discs in a row, no stray light, no texture, no falloff: a scene for exact checks."""
    centres = grid_centres(size_px, len(radiances), 1, margin=0.05)
    radius = min(0.3 * 0.9 * size_px[0] / len(radiances), 0.35 * size_px[1])
    samples = tuple(
        SceneSample(_letter(i), Shape("spot", centre, radius), radiance, texture=0.0)
        for i, (centre, radiance) in enumerate(zip(centres, radiances, strict=True))
    )
    return Scene(
        size_px,
        samples,
        surroundings_violet=0.0,
        lamp_unevenness=0.0,
        vignetting=0.0,
        halo=0.0,
        crosslight=0.0,
    )


def two_reds_and_green(size_px: tuple[int, int] = (900, 600)) -> Scene:
    """A ready scene for trying things: two red vials 3 nm apart and a green one four times brighter."""
    spectra = {"red": band(640.0, 85.0), "red 2": band(637.0, 85.0), "green": band(520.0, 52.0)}
    levels = {"red": 0.25, "red 2": 0.24, "green": 1.0}
    return row_of_vials(size_px, 3, 1, {n: with_luminance(s, levels[n]) for n, s in spectra.items()})


def _letter(i: int) -> str:
    return chr(ord("A") + i) if i < 26 else f"Z{i - 25}"


def _powers(rng: np.random.Generator, n: int, ratio: float) -> Array:
    """Powers between 1/ratio and 1, both ends taken where there are two samples."""
    powers = ratio ** -rng.uniform(0.0, 1.0, n)
    powers[:2] = (1.0, 1.0 / ratio)[:n]
    return np.asarray(rng.permutation(powers))


def _scatter(
    rng: np.random.Generator, n: int, size_px: tuple[int, int], gap: float, kinds: tuple[str, ...]
) -> list[Shape]:
    """Shapes thrown on the stage until none touches another, in reading order by bands of the stage."""
    for shrink in np.linspace(1.0, 0.35, 30):
        shapes = _throw(rng, n, size_px, (gap, float(shrink)), kinds)
        if len(shapes) == n:
            return sorted(shapes, key=lambda s: (s.centre_px[1] // (size_px[1] / 4), s.centre_px[0]))
    raise WrongUseError(
        f"{n} samples {gap} px apart do not fit on {size_px} px: take fewer, or a larger stage"
    )


def _throw(
    rng: np.random.Generator, n: int, size_px: tuple[int, int], spacing: Pair, kinds: tuple[str, ...]
) -> list[Shape]:
    """Throw shapes on the stage, each where it touches no other; spacing: (gap in px, share of full size)."""
    w, h = size_px
    gap, shrink = spacing
    typical = shrink * min(0.2 * h, 0.26 * np.sqrt(w * h / max(n, 1)))
    shapes: list[Shape] = []
    for _ in range(60 * n):
        kind, radius = kinds[int(rng.integers(len(kinds)))], typical * rng.uniform(0.7, 1.15)
        shape = random_shape(rng, kind, (0.0, 0.0), float(radius))
        edge = shape.reach_px + gap
        centre = (float(rng.uniform(edge, w - edge)), float(rng.uniform(edge, h - edge)))
        shape = replace(shape, centre_px=centre)
        if all(_clear(shape, other, gap) for other in shapes):
            shapes.append(shape)
        if len(shapes) == n:
            break
    return shapes


def _clear(a: Shape, b: Shape, gap: float) -> bool:
    distance = np.hypot(a.centre_px[0] - b.centre_px[0], a.centre_px[1] - b.centre_px[1])
    return bool(distance > a.reach_px + b.reach_px + gap)
