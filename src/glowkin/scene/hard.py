"""Scenes that are hard to read: one function a kind, each drawn anew from a random generator.

Everything is invented. Powers are in units of the brightest sample's; what a photographer could not tell
apart by eye either (a blue sample no brighter than blue paper) is not asked for.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.scene import clutter
from glowkin.scene.spectra import WAVELENGTH_NM, band, emitters, skewed_band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, random_scene, random_shape

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Array: TypeAlias = "NDArray[np.float64]"

SIZE = (1500, 1000)
BLUE = ("blue", "cyan", "two-band")
"""Emitters that blue paper hides."""


def wide_range(rng: np.random.Generator) -> Scene:
    """Samples up to 50 times brighter than others."""
    return random_scene(rng, int(rng.integers(3, 17)), 50.0)


def touching(rng: np.random.Generator) -> Scene:
    """Two to four heaps or spots in a row that touch, half the time of one and the same colour."""
    count, shelf = int(rng.integers(2, 5)), list(emitters().items())
    radius = rng.uniform(0.07, 0.12) * SIZE[0] * 2 / (count + 1)
    radius = min(radius, 0.2 * SIZE[1])
    same = bool(rng.integers(2))
    first = int(rng.integers(len(shelf)))
    x, y = SIZE[0] / 2 - (count - 1) * radius, SIZE[1] * rng.uniform(0.35, 0.65)
    samples = []
    for i in range(count):
        name, spectrum = shelf[first] if same else shelf[(first + 3 * i) % len(shelf)]
        size = radius * rng.uniform(0.9, 1.0)
        shape = random_shape(
            rng, str(rng.choice(["spot", "heap"])), (x, y + rng.normal(0, 0.1) * radius), size
        )
        samples.append(_sample(rng, f"{name} {i}", shape, spectrum * rng.uniform(0.5, 1.0)))
        x += 1.9 * size if i + 1 < count else 0.0
    return _scene(rng, samples)


def cluttered(rng: np.random.Generator) -> Scene:
    """Vials with glints and menisci; caps and labels beside them; sometimes a finger."""
    scene = random_scene(rng, int(rng.integers(2, 9)), 10.0, kinds=("vial",), min_gap_px=40.0)
    things: list[clutter.Thing] = []
    for sample in scene.samples:
        centre, radius = np.array(sample.shape.centre_px), sample.shape.radius_px
        things += [clutter.glint(rng, centre, radius) for _ in range(int(rng.integers(0, 4)))]
        if rng.random() < 0.5:
            things.append(clutter.meniscus(rng, centre, radius, sample.radiance))
    radius = float(np.median([s.shape.radius_px for s in scene.samples]))
    for make in (clutter.cap, clutter.label, clutter.cap, clutter.label):
        place = _free_place(rng, scene, things, 1.25 * radius)
        if place is not None and rng.random() < 0.6:
            things.append(make(rng, place, radius))
    if rng.random() < 0.5:
        finger = clutter.finger(rng, SIZE)
        if not _covers(scene, finger):
            things.append(finger)
    return replace(scene, things=tuple(things))


def uneven_lamp(rng: np.random.Generator) -> Scene:
    """A torch whose light falls off steeply from one side."""
    scene = random_scene(rng, int(rng.integers(3, 13)), 5.0)
    centre = float(rng.uniform(0.0, 1.0)), float(rng.uniform(0.0, 1.0))
    return replace(scene, lamp_unevenness=float(rng.uniform(0.4, 0.75)), lamp_centre=centre)


def blue_ground(rng: np.random.Generator) -> Scene:
    """Blue-glowing paper; blue samples on it are brighter than it."""
    glow = float(rng.uniform(0.03, 0.25))
    scene = random_scene(rng, int(rng.integers(2, 10)), 4.0)
    bright = tuple(replace(s, radiance=_seen_on(glow, s.radiance)) for s in scene.samples)
    return _on_paper(replace(scene, samples=bright), glow)


def violet_ground(rng: np.random.Generator) -> Scene:
    """A lamp that leaks much violet on a ground that throws it back, samples as well."""
    scene = random_scene(rng, int(rng.integers(2, 13)), 10.0, violet=(0.0, 0.3))
    return replace(scene, surroundings_violet=float(rng.uniform(0.1, 0.4)))


def grains(rng: np.random.Generator) -> Scene:
    """A few small bright grains."""
    shelf, count = list(emitters().values()), int(rng.integers(2, 9))
    samples = []
    for i, centre in enumerate(_places(rng, count, 60.0)):
        shape = random_shape(rng, "heap", centre, float(rng.uniform(11.0, 22.0)))
        spectrum = shelf[int(rng.integers(len(shelf)))] * rng.uniform(0.3, 1.0)
        samples.append(_sample(rng, f"grain {i}", shape, spectrum))
    return _scene(rng, samples)


def bands(rng: np.random.Generator) -> Scene:
    """Bands in the lanes of a gel or plate that glows itself, a quarter to two times brighter than it."""
    lanes, ground = int(rng.integers(3, 8)), band(float(rng.uniform(540, 575)), 70.0) * rng.uniform(0.2, 0.5)
    samples = []
    for lane in range(lanes):
        x = SIZE[0] * (0.12 + 0.76 * (lane + 0.5) / lanes)
        rows = rng.permutation(np.linspace(0.15, 0.85, 9))[: int(rng.integers(0, 4))]
        for y in np.sort(rows) * SIZE[1]:
            width = 0.28 * 0.76 * SIZE[0] / lanes * rng.uniform(0.9, 1.1)
            shape = Shape("band", (x, float(y)), min(width, 60.0), aspect=float(rng.uniform(2.5, 4.5)))
            light = ground + ground.sum() * rng.uniform(0.4, 2.0) * band(530.0, 40.0)
            samples.append(_sample(rng, f"{lane} {y:.0f}", shape, light))
    return replace(
        _scene(rng, samples), surroundings_glow=ground, surroundings_violet=0.0, lamp_unevenness=0.3
    )


def plate_spots(rng: np.random.Generator) -> Scene:
    """Round spots on a faintly glowing plate, some of them close to its brightness."""
    shelf, ground = list(emitters().items()), skewed_band(525.0, 60.0) * rng.uniform(0.05, 0.2)
    samples = []
    for i, centre in enumerate(_places(rng, int(rng.integers(3, 12)), 90.0)):
        name, spectrum = shelf[int(rng.integers(len(shelf)))]
        shape = random_shape(rng, "spot", centre, float(rng.uniform(25.0, 55.0)))
        light = ground + spectrum * ground.sum() * rng.uniform(1.0, 5.0)
        samples.append(_sample(rng, f"{name} {i}", shape, light))
    return replace(_scene(rng, samples), surroundings_glow=ground, surroundings_texture=0.4)


def at_the_edge(rng: np.random.Generator) -> Scene:
    """Samples cut by the frame beside whole ones."""
    scene = random_scene(rng, int(rng.integers(2, 9)), 10.0)
    (w, h), shift = SIZE, rng.uniform(-0.35, 0.35, 2)
    reach = scene.samples[int(rng.integers(len(scene.samples)))].shape
    side = int(rng.integers(4))
    target = {0: (0.0, None), 1: (w, None), 2: (None, 0.0), 3: (None, h)}[side]
    x, y = (c if t is None else t for c, t in zip(reach.centre_px, target, strict=True))
    move = np.array([x - reach.centre_px[0], y - reach.centre_px[1]]) + shift * reach.radius_px
    move[1 if side < 2 else 0] = 0.0
    moved = [_moved(s, move) for s in scene.samples]
    inside = tuple(s for s in moved if _shown_share(s.shape) > 0.3)
    return replace(scene, samples=inside)


def filling(rng: np.random.Generator) -> Scene:
    """One sample that fills the frame, or all but its corners; not a blue one, which paper could be."""
    shelf = [s for name, s in emitters().items() if name not in BLUE]
    spectrum = shelf[int(rng.integers(len(shelf)))]
    radius = float(rng.uniform(0.55, 1.3) * SIZE[0])
    centre = SIZE[0] * rng.uniform(0.45, 0.55), SIZE[1] * rng.uniform(0.45, 0.55)
    return _scene(rng, [_sample(rng, "all", random_shape(rng, "spot", centre, radius), spectrum)])


def nothing(rng: np.random.Generator) -> Scene:
    """No sample: dark cloth, violet cloth or glowing paper, now and then with caps and labels on it."""
    scene = replace(_scene(rng, []), surroundings_violet=float(rng.choice([0.02, 0.3])))
    if rng.random() < 0.4:
        scene = _on_paper(scene, 0.2)
    elif rng.random() < 0.5:
        places = [np.array(c) for c in grid_centres(SIZE, 3, 2)]
        things = [
            make(rng, places[i], 90.0) for i, make in enumerate((clutter.cap, clutter.label, clutter.cap))
        ]
        scene = replace(scene, things=tuple(things))
    return replace(scene, lamp_unevenness=float(rng.uniform(0.1, 0.6)))


HARD: dict[str, Callable[[np.random.Generator], Scene]] = {
    f.__name__.replace("_", "-"): f
    for f in (
        wide_range, touching, cluttered, uneven_lamp, blue_ground, violet_ground,
        grains, bands, plate_spots, at_the_edge, filling, nothing,
    )
}  # fmt: skip


def _sample(rng: np.random.Generator, name: str, shape: Shape, radiance: Array) -> SceneSample:
    violet, texture = float(rng.uniform(0.0, 0.05)), float(rng.uniform(0.03, 0.10))
    return SceneSample(name, shape, radiance, violet, texture=texture, seed=int(rng.integers(2**31)))


def _scene(rng: np.random.Generator, samples: list[SceneSample]) -> Scene:
    halo, seed = float(rng.uniform(0.005, 0.015)), int(rng.integers(2**31))
    return Scene(SIZE, tuple(samples), halo=halo, seed=seed)


def _seen_on(glow: float, radiance: Array) -> Array:
    """The light of a sample, made 2.5 times as strong as the paper's where it is mostly blue as well."""
    blue = radiance[WAVELENGTH_NM < 500.0].sum()
    return radiance * max(1.0, 2.5 * glow / blue) if blue > 0.4 * radiance.sum() else radiance


def _on_paper(scene: Scene, glow: float) -> Scene:
    paper = clutter.brightener(glow)
    return replace(scene, surroundings_glow=paper, surroundings_albedo=0.7, surroundings_texture=0.4)


def _places(rng: np.random.Generator, count: int, apart: float) -> list[tuple[float, float]]:
    """Places no closer than this to each other or, halved, to the frame."""
    places: list[tuple[float, float]] = []
    while len(places) < count:
        x, y = rng.uniform(apart, SIZE[0] - apart), rng.uniform(apart, SIZE[1] - apart)
        if all(np.hypot(x - a, y - b) > 2 * apart for a, b in places):
            places.append((float(x), float(y)))
    return places


def _free_place(
    rng: np.random.Generator, scene: Scene, things: list[clutter.Thing], reach: float
) -> Array | None:
    """A place where nothing lies within reach, if one is found."""
    taken = [(np.array(s.shape.centre_px), s.shape.reach_px) for s in scene.samples]
    taken += [(t.outline_px.mean(axis=0), reach) for t in things if t.kind in ("cap", "label")]
    for _ in range(60):
        place = rng.uniform((reach, reach), (SIZE[0] - reach, SIZE[1] - reach))
        if all(np.linalg.norm(place - centre) > reach + own for centre, own in taken):
            return np.asarray(place)
    return None


def _covers(scene: Scene, thing: clutter.Thing) -> bool:
    """Whether the thing lies over or close by a sample or another thing."""
    near = [
        np.linalg.norm(thing.outline_px - s.shape.centre_px, axis=1).min() < 1.3 * s.shape.reach_px
        for s in scene.samples
    ]
    return any(near)


def _moved(sample: SceneSample, move: Array) -> SceneSample:
    x, y = np.array(sample.shape.centre_px) + move
    return replace(sample, shape=replace(sample.shape, centre_px=(float(x), float(y))))


def _shown_share(shape: Shape) -> float:
    """Share of a shape's outline box inside the frame."""
    outline = shape.outline()
    shown = np.clip(outline, 0, SIZE)
    return float(np.prod(np.ptp(shown, axis=0)) / np.prod(np.ptp(outline, axis=0)))
