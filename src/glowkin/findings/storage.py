"""Which storage lasts longest: vials gathered by their condition and compared by how vials scatter.

The logarithms of half-times of one storage's vials scatter about the storage's mean by what vials differ in
and by each fit's error. The variance between vials is Paule & Mandel's (J. Res. NBS 87, 377, 1982), intervals
take Student's t with one less degree of freedom than vials (Hartung & Knapp, Stat. Med. 20, 1771, 2001),
two storages are compared as Welch does, or within the batches where both hold the same. A half-time known to
be longer than something enters as that, its scatter taken from the other storages, and its interval stays
open. One vial is no evidence about the storage.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.storages import Arrhenius, AtTemperature, CourseComparison, StorageCourse, vial_in
from glowkin.base.uncertainty import t95
from glowkin.findings.across import across_states
from glowkin.findings.arrhenius import fit_arrhenius
from glowkin.findings.batches import typical, typical_by_batch, within_batches
from glowkin.findings.ratios import Logs, difference, logs_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import SampleCourse
    from glowkin.base.storages import Limits, Vial

ONE_VIAL = "one vial: not evidence about the storage"
DIFFERENT = "different"


@dataclass(frozen=True)
class Storage:
    """One condition: mean log half-time with its variance, None where how vials scatter is not known.

    ``between`` and ``batches`` are the variances from vial to vial and from batch to batch.
    ``open_up``, ``open_down``: the mean is only known to be larger, or smaller, than ``log``. ``logs`` and
    ``own`` are of each vial the log half-time and the variance of its fit.
    """

    name: str
    vials: tuple[str, ...]
    left_out: tuple[str, ...]
    log: float
    between: float | None
    variance: float | None
    dof: float
    open_up: bool = False
    open_down: bool = False
    held: tuple[Vial, ...] = ()
    batches: float | None = None
    logs: tuple[float, ...] = ()
    own: tuple[float, ...] = ()

    @property
    def kind(self) -> str:
        """What it is but for its temperature."""
        return self.held[0].kind if self.held else self.name

    @property
    def temperature_c(self) -> float | None:
        """Of the storage, where it is told."""
        return self.held[0].temperature_c if self.held else None

    @property
    def batches_of_vials(self) -> list[str]:
        """The batch of each vial that tells something; empty where it is not told."""
        batch = {vial.name: vial.batch for vial in self.held}
        return [batch[name] for name in self.vials]

    @property
    def states(self) -> tuple[str, ...]:
        """Wet, dried or ground: those that its vials were photographed in."""
        return tuple(state for vial in self.held for state in vial.states)

    @property
    def told(self) -> bool:
        """Whether the half-time itself is known, not only a bound."""
        return not (self.open_up or self.open_down)

    def interval(self) -> Limits | None:
        """95 % interval of the half-time of a typical vial, s."""
        if self.variance is None:
            return None
        half = t95(self.dof) * float(np.sqrt(self.variance))
        low = None if self.open_down else float(np.exp(self.log - half))
        return low, None if self.open_up else float(np.exp(self.log + half))


@dataclass(frozen=True)
class Found:
    """Storages, the longest-lasting first; every pair of them; and what temperature does."""

    storages: tuple[StorageCourse, ...] = ()
    comparisons: tuple[CourseComparison, ...] = ()
    arrhenius: tuple[Arrhenius, ...] = ()


def storages_of(courses: Sequence[SampleCourse]) -> list[Storage]:
    """Every condition whose vials say something of their half-time, in order of appearance."""
    groups: dict[str, list[SampleCourse]] = {}
    for course in courses:
        groups.setdefault(vial_in(course).condition, []).append(course)
    known = {name: [v for c in vials if (v := logs_of(c))] for name, vials in groups.items()}
    pooled, dof = _pooled([vials for vials in known.values() if vials and all(v.closed for v in vials)])
    return [
        _storage(name, vials, tuple(vial_in(c) for c in groups[name]), pooled, dof)
        for name, vials in known.items()
        if vials
    ]


def _pooled(groups: Sequence[Sequence[Logs]]) -> tuple[float, int]:
    """Variance of one vial about its storage's mean, over all these storages, and its degrees of freedom."""
    dof = sum(len(vials) - 1 for vials in groups)
    squares = sum(float(np.var([v.bound for v in vials])) * len(vials) for vials in groups)
    return (squares / dof if dof else 0.0), dof


def _storage(name: str, vials: Sequence[Logs], held: tuple[Vial, ...], pooled: float, dof: int) -> Storage:
    used = tuple(v.name for v in vials)
    left_out = tuple(v.name for v in held if v.name not in used)
    y, own = np.array([v.bound for v in vials]), np.array([v.own_variance for v in vials])
    up, down = (any(getattr(v, end) for v in vials) for end in ("open_up", "open_down"))
    known = Storage(
        name, used, left_out, float(y.mean()), None, None, 0.0, up, down, held, None, tuple(y), tuple(own)
    )
    if len(y) < 2 or (up and down):
        return known
    if not up and not down:
        if by_batch := typical_by_batch(y, own, known.batches_of_vials):
            mean, variance, between, batches, free = by_batch
            return replace(known, log=mean, between=between, variance=variance, dof=free, batches=batches)
        mean, variance, between = typical(y, own)
        return replace(known, log=mean, between=between, variance=variance, dof=len(y) - 1)
    borrowed = max(pooled, float(np.var(y, ddof=1))) / len(y) if dof else None
    return replace(known, variance=borrowed, dof=dof)


def storages_found(courses: Sequence[SampleCourse], at: Sequence[float] = ()) -> Found:
    """What these samples say of their storages; nothing where no storage has a second vial or temperature."""
    storages = storages_of(courses)
    arrhenius = arrhenius_of(storages, at)
    if not arrhenius and all(len(s.vials) + len(s.left_out) < 2 for s in storages):
        return Found()
    comparisons = compare_storages(storages)
    return Found(storage_records(storages, comparisons), comparisons, arrhenius)


def compare_storages(storages: Sequence[Storage]) -> tuple[CourseComparison, ...]:
    """Every pair of storages: how many times longer a typical vial lasts in a than in b."""
    return tuple(_compared(a, b) for a, b in combinations(storages, 2))


def _compared(a: Storage, b: Storage) -> CourseComparison:
    difference_of = _difference(a, b)
    ratio = float(np.exp(difference_of[0])) if a.told and b.told else None
    unlike = across_states((*a.states, *b.states))
    if min(len(a.vials), len(b.vials)) < 2:
        return CourseComparison(a.name, b.name, ratio, (None, None), ONE_VIAL, unlike)
    low, high = _ratio_limits(a, b, *difference_of)
    return CourseComparison(a.name, b.name, ratio, (low, high), difference((low, high)), unlike)


def _difference(a: Storage, b: Storage) -> tuple[float, float | None, float]:
    """Of the logarithms of two means, with its variance and degrees of freedom: within the batches that both
    hold, else Welch's.
    """
    if a.told and b.told and min(len(a.vials), len(b.vials)) > 1:
        found = within_batches(*((np.array(s.logs), np.array(s.own), s.batches_of_vials) for s in (a, b)))
        if found is not None:
            return found
    if a.variance is None or b.variance is None:
        return a.log - b.log, None, 0.0
    variance = a.variance + b.variance
    parts = a.variance**2 / a.dof + b.variance**2 / b.dof
    return a.log - b.log, variance, variance**2 / parts if parts > 0.0 else 1.0


def _ratio_limits(a: Storage, b: Storage, mean: float, variance: float | None, dof: float) -> Limits:
    """The interval of a ratio, on the side that is not open."""
    if variance is None:
        return None, None
    half = t95(dof) * float(np.sqrt(variance))
    low = None if a.open_down or b.open_up else float(np.exp(mean - half))
    return low, None if a.open_up or b.open_down else float(np.exp(mean + half))


def storage_records(
    storages: Sequence[Storage], comparisons: Sequence[CourseComparison]
) -> tuple[StorageCourse, ...]:
    """Storages as records, the longest-lasting first; those with one vial last, without a rank."""
    records = [_record(s, _rank(s, comparisons)) for s in storages]
    logs = {s.name: s.log for s in storages}
    return tuple(sorted(records, key=lambda r: (r.rank is None, r.rank or 0, -logs[r.name])))


def _record(s: Storage, rank: int | None) -> StorageCourse:
    return StorageCourse(
        name=s.name,
        vials=s.vials,
        half_time_s=float(np.exp(s.log)) if s.told else None,
        half_time_interval_s=s.interval(),
        scatter=None if s.between is None else float(np.sqrt(s.between)),
        rank=rank,
        temperature_c=s.temperature_c,
        left_out=s.left_out,
        batches=tuple(dict.fromkeys(v.batch for v in s.held if v.batch)),
        batch_scatter=None if s.batches is None else float(np.sqrt(s.batches)),
        flags=across_states(s.states),
    )


def _rank(storage: Storage, comparisons: Sequence[CourseComparison]) -> int | None:
    """One more than the number of storages that last longer."""
    if len(storage.vials) < 2:
        return None
    sure = [c for c in comparisons if c.verdict == DIFFERENT]
    above = sum(c.b == storage.name and c.interval[0] is not None and c.interval[0] > 1.0 for c in sure)
    return 1 + above + sum(c.a == storage.name and (c.interval[1] or 1.0) < 1.0 for c in sure)


def arrhenius_of(storages: Sequence[Storage], at: Sequence[float] = ()) -> tuple[Arrhenius, ...]:
    """A fit for each kind of storage kept at several temperatures, as told or by its name (as MgCl2 25 C).

    With two temperatures each needs several vials; with more, the scatter about the line stands in for them.
    """
    kinds: dict[str, list[tuple[float, Storage]]] = {}
    for storage in storages:
        celsius = storage.temperature_c
        if celsius is not None and storage.told:
            kinds.setdefault(storage.kind, []).append((celsius, storage))
    return tuple(
        _arrhenius(kind, sorted(held, key=_celsius), at) for kind, held in kinds.items() if _fit(held)
    )


def _fit(held: Sequence[tuple[float, Storage]]) -> bool:
    different = len({celsius for celsius, _ in held})
    return different > 2 or (different == 2 and all(s.variance is not None for _, s in held))


def _celsius(held: tuple[float, Storage]) -> float:
    return held[0]


def _arrhenius(kind: str, held: Sequence[tuple[float, Storage]], at: Sequence[float]) -> Arrhenius:
    celsius = tuple(c for c, _ in held)
    own = np.array([s.variance or 0.0 for _, s in held])
    known = all(s.variance and s.dof > 0 for _, s in held)
    dof = np.array([s.dof for _, s in held], dtype=float) if known else None
    fit = fit_arrhenius(np.array(celsius), np.log(np.log(2.0)) - np.array([s.log for _, s in held]), own, dof)
    energy, half = fit.activation_energy() / 1000.0, fit.activation_energy_half_width() / 1000.0
    predicted = []
    for temperature in at:
        log_rate, error = fit.log_rate(temperature)
        low, middle, high = (float(np.log(2.0) * np.exp(-log_rate + e)) for e in (-error, 0.0, error))
        beyond = not min(celsius) <= temperature <= max(celsius)
        predicted.append(AtTemperature(temperature, middle, (low, high), beyond))
    interval = (energy - half, energy + half)
    return Arrhenius(kind, tuple(s.name for _, s in held), celsius, energy, interval, tuple(predicted))
