"""Samples that change while they are photographed: time series with known half-times.

Forms mix in light: a vial's radiance is f A + (1 - f) B, where f is the amount still in the starting form and
A, B are what a whole vial of either form gives. The curves are written down here on their own; what infers
them shares no code with this.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from math import exp, log, sqrt
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.scene.render import metered, photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spoil import spoiled_photograph
from glowkin.scene.truth import luminance

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from glowkin.scene.cameras import SceneCamera
    from glowkin.scene.shot import Shot
    from glowkin.scene.stage import Front, Scene, SceneSample

    Array: TypeAlias = "NDArray[np.float64]"

Progress = Callable[[float, float], float]

LN2 = log(2.0)
SEED = 0.01
"""Share converted at the start of a Prout-Tompkins course: autocatalysis needs a first germ."""


def _prout_tompkins(tau: float, _n: float) -> float:
    start = log(SEED / (1.0 - SEED))
    rate = log((1.0 + SEED) / (1.0 - SEED)) - start
    alpha = 1.0 / (1.0 + exp(-(start + rate * min(tau, 50.0))))
    return (alpha - SEED) / (1.0 - SEED)


PROGRESS: dict[str, Progress] = {
    "zero-order": lambda tau, _n: min(0.5 * tau, 1.0),
    "first-order": lambda tau, _n: 1.0 - exp(-LN2 * tau),
    "stretched-exponential": lambda tau, n: 1.0 - exp(-LN2 * tau**n),
    "avrami-erofeev": lambda tau, n: 1.0 - exp(-LN2 * tau**n),
    "prout-tompkins": _prout_tompkins,
    "contracting-area": lambda tau, _n: 1.0 - max(1.0 - (1.0 - sqrt(0.5)) * tau, 0.0) ** 2,
    "contracting-volume": lambda tau, _n: 1.0 - max(1.0 - (1.0 - 0.5 ** (1 / 3)) * tau, 0.0) ** 3,
    "none": lambda _tau, _n: 0.0,
}
"""How far a change has come (0-1) at tau half-times, tau counted from the end of the induction."""


COURSES = {
    "first order": ("first-order", 1.0, 0.0),
    "Avrami 2": ("avrami-erofeev", 2.0, 0.0),
    "Avrami 3": ("avrami-erofeev", 3.0, 0.0),
    "contracting volume": ("contracting-volume", 1.0, 0.0),
    "after a wait": ("first-order", 1.0, 0.8),
}
"""Courses to draw: the law, its exponent, and how long it waits, in half-times."""


def progress(model: str, half_times: Array, exponent: float = 1.0) -> Array:
    """How far a change has come (n, 0-1) at these half-times (n), which are negative before it begins."""
    return np.array([PROGRESS[model](max(float(tau), 0.0), exponent) for tau in half_times])


@dataclass(frozen=True)
class Course:
    """How one vial changes.

    ``half_time_s``: from time zero, induction included, to the middle between start and end. ``stops_at``:
    share left in the starting form for ever.
    """

    model: str = "none"
    half_time_s: float | None = None
    exponent: float = 1.0
    stops_at: float = 0.0
    induction_s: float = 0.0

    def fraction(self, time_s: float) -> float:
        """Amount still in the starting form, 1 at time zero."""
        if self.model not in PROGRESS:
            raise WrongUseError(f"model {self.model!r}: take one of {', '.join(PROGRESS)}")
        if self.model == "none" or self.half_time_s is None:
            return 1.0
        tau = max(time_s - self.induction_s, 0.0) / (self.half_time_s - self.induction_s)
        return 1.0 - (1.0 - self.stops_at) * PROGRESS[self.model](tau, self.exponent)


@dataclass(frozen=True)
class Change:
    """What the sample of this name does: its course, what it turns into, and how the lamp wears it.

    ``end``: radiance of the fully converted vial under the same lamp. ``bleach_per_s``: first-order loss of
    all light by lamp-on time. ``on_the_way``: for a vial that is no mixture of two forms, its radiance at
    each fraction left of the start. ``front``: at each fraction left, the share of the new form at each
    place; evenly mixed without it.
    """

    name: str
    course: Course
    end: Array = field(repr=False, compare=False)
    bleach_per_s: float = 0.0
    on_the_way: Callable[[float], Array] | None = field(default=None, repr=False, compare=False)
    front: Callable[[float], Front] | None = field(default=None, repr=False, compare=False)

    def radiance(self, start: Array, time_s: float) -> Array:
        """What the vial gives at a time: a mixture of two forms, or what it is said to give on the way."""
        f = self.course.fraction(time_s)
        return f * start + (1.0 - f) * self.end if self.on_the_way is None else self.on_the_way(f)


@dataclass(frozen=True)
class Shake:
    """How differently the camera stands at each photograph: standard deviations."""

    shift: float = 0.010
    turn_deg: float = 0.5
    scale: float = 0.008


@dataclass(frozen=True)
class CourseTruth:
    """The known answers of one sample of a series."""

    name: str
    model: str
    half_time_s: float | None
    exponent: float
    stops_at: float
    luminance_ratio: float
    fraction_start: tuple[float, ...]


@dataclass(frozen=True)
class Series:
    """The photographs of a series and its known answers; ``lamp`` is the lamp's true drift."""

    shots: tuple[Shot, ...] = field(repr=False)
    times_s: tuple[float, ...]
    lamp: tuple[float, ...]
    truths: tuple[CourseTruth, ...]


def photograph_series(
    scene: Scene,
    changes: Sequence[Change],
    times_s: Sequence[float],
    camera: SceneCamera,
    rng: np.random.Generator,
    exposure: Exposure | None = None,
    *,
    brightest: float = 0.7,
    lamp_drift: float = 0.03,
    shake: Shake | None = None,
    lamp_on_s: float = 10.0,
    spoiled: Mapping[int, str] | None = None,
) -> Series:
    """Photograph a scene while its samples change; samples without a change are stable.

    One exposure for all, set so that the brightest state any sample comes to fills ``brightest`` of the well.
    ``lamp_on_s``: how long the lamp burns at each photograph. ``spoiled``: what is wrong with single
    photographs, by their place in the series (see ``spoil.SPOILS``).
    """
    states = [_at(scene, changes, t, i * lamp_on_s) for i, t in enumerate(times_s)]
    fixed = _fixed_exposure(states, camera, exposure or Exposure(), brightest)
    lamp = _drift(rng, len(states), lamp_drift)
    shots, wrong = [], spoiled or {}
    for i, (state, time_s, level) in enumerate(zip(states, times_s, lamp, strict=True)):
        placed = replace(state, lamp=level, placement=placement(rng, scene.size_px, shake or Shake()))
        taken = replace(fixed, taken_at=fixed.taken_at + timedelta(seconds=time_s))
        shots.append(
            spoiled_photograph(placed, camera, rng, taken, wrong[i])
            if i in wrong
            else photograph(placed, camera, rng, taken)
        )
    truths = tuple(_truth(scene, change, times_s) for change in changes)
    return Series(tuple(shots), tuple(times_s), lamp, truths)


def placement(
    rng: np.random.Generator, size_px: tuple[int, int], shake: Shake
) -> tuple[tuple[float, ...], ...]:
    """A similarity about the middle of the frame: how the camera stands this time."""
    w, h = size_px
    turn = np.deg2rad(shake.turn_deg * rng.standard_normal())
    s = 1.0 + shake.scale * rng.standard_normal()
    R = s * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    middle = np.array([w / 2.0, h / 2.0])
    t = middle - R @ middle + shake.shift * w * rng.standard_normal(2)
    return ((float(R[0, 0]), float(R[0, 1]), float(t[0])), (float(R[1, 0]), float(R[1, 1]), float(t[1])))


def _at(scene: Scene, changes: Sequence[Change], time_s: float, lit_s: float) -> Scene:
    """The scene at a time, after so many seconds under the lamp."""
    by_name = {c.name: c for c in changes}
    unknown = set(by_name) - {s.name for s in scene.samples}
    if unknown:
        raise WrongUseError(f"no sample in the scene is named {', '.join(sorted(unknown))}")
    samples = []
    for sample in scene.samples:
        change = by_name.get(sample.name)
        if change is not None:
            sample = _changed(sample, change, time_s, exp(-change.bleach_per_s * lit_s))  # noqa: PLW2901
        samples.append(sample)
    return replace(scene, samples=tuple(samples))


def _changed(sample: SceneSample, change: Change, time_s: float, kept: float) -> SceneSample:
    """The sample as it is at a time, of its light so much kept."""
    if change.front is None:
        return replace(sample, radiance=change.radiance(sample.radiance, time_s) * kept)
    front = change.front(change.course.fraction(time_s))
    return replace(sample, radiance=sample.radiance * kept, second=change.end * kept, front=front)


def _fixed_exposure(
    states: Sequence[Scene], camera: SceneCamera, exposure: Exposure, brightest: float
) -> Exposure:
    return min((metered(s, camera, exposure, brightest) for s in states), key=lambda e: e.exposure_s)


def _drift(rng: np.random.Generator, n: int, size: float) -> tuple[float, ...]:
    """The lamp's level at each photograph: half a slow decline, half at random."""
    ageing = -np.linspace(0.0, 1.0, n) if n > 1 else np.zeros(1)
    levels = 1.0 + size * (0.5 * ageing + rng.standard_normal(n) * 0.7)
    return tuple(float(v) for v in levels)


def _truth(scene: Scene, change: Change, times_s: Sequence[float]) -> CourseTruth:
    course = change.course
    start = next(s.radiance for s in scene.samples if s.name == change.name)
    return CourseTruth(
        change.name,
        course.model,
        course.half_time_s,
        course.exponent,
        course.stops_at,
        luminance(change.end) / luminance(start),
        tuple(course.fraction(t) for t in times_s),
    )
