"""Which storage lasts longest: vials gathered by their condition and compared by how vials scatter.

The logarithms of half-times of one storage's vials scatter about the storage's mean by what vials differ in
and by each fit's error. The variance between vials is Paule & Mandel's (J. Res. NBS 87, 377, 1982), intervals
take Student's t with one less degree of freedom than vials (Hartung & Knapp, Stat. Med. 20, 1771, 2001),
two storages are compared as Welch does. A half-time known to be longer than something enters as that, its
scatter taken from the other storages, and its interval stays open. One vial is no evidence about the storage.
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
from glowkin.findings.ratios import Logs, difference, logs_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import SampleCourse
    from glowkin.base.storages import Limits, Vial
    from glowkin.base.uncertainty import Array

ONE_VIAL = "one vial: not evidence about the storage"
DIFFERENT = "different"
_POOLED = 0.25


@dataclass(frozen=True)
class Storage:
    """One condition: mean log half-time with its variance, None where how vials scatter is not known.

    ``between`` and ``batches`` are the variances from vial to vial and from batch to batch.
    ``open_up``, ``open_down``: the mean is only known to be larger, or smaller, than ``log``.
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

    @property
    def kind(self) -> str:
        """What it is but for its temperature."""
        return self.held[0].kind if self.held else self.name

    @property
    def temperature_c(self) -> float | None:
        """Of the storage, where it is told."""
        return self.held[0].temperature_c if self.held else None

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


def between_variance(y: Array, own: Array) -> float:
    """Variance between vials of values y (n,) with own variances (n,), by Paule & Mandel's condition: the
    squares of the deviations, weighted by both variances, add up to n - 1; 0 where they fall short of it.
    """
    from scipy.optimize import brentq

    def excess(between: float) -> float:
        w = 1.0 / np.maximum(own + between, 1e-300)
        return float(np.sum(w * (y - np.sum(w * y) / np.sum(w)) ** 2)) - (len(y) - 1)

    most = float(np.var(y, ddof=1))
    if most <= 0.0 or (own.min() > 0.0 and excess(0.0) <= 0.0):
        return 0.0
    return float(brentq(excess, 0.0 if own.min() > 0.0 else 1e-9 * most, 2.0 * most + 1e-12))


def typical(y: Array, own: Array) -> tuple[float, float, float]:
    """Mean of the population that values y (n >= 2) with own variances come from; its variance; and between.

    The interval takes Student's t with n - 1 degrees of freedom. With this estimate of the variance between
    vials, Hartung & Knapp's variance of the mean, kept from falling below that of the values' own errors,
    is the inverse sum of weights.
    """
    between = between_variance(y, own)
    w = 1.0 / np.maximum(own + between, 1e-300)
    return float(np.sum(w * y) / np.sum(w)), float(1.0 / np.sum(w)), between


def typical_by_batch(
    y: Array, own: Array, batches: Sequence[str]
) -> tuple[float, float, float, float, int] | None:
    """Mean over batches of values y (n,), its variance, the variance between vials of a batch beyond their
    own errors, that between batches beyond what their vials explain, and degrees of freedom.

    One-way random effects: the variance within batches is pooled, batch means are then treated as ``typical``
    treats values, so that of balanced batches it is the analysis of variance. None where batches are not told
    of all, there is no second vial in any, or an F test does not tell them apart at 25 %, the level at which
    to pool or not to pool costs least (Bozivich, Bancroft & Hartley, Ann. Math. Stat. 27, 1017, 1956; from
    memory).
    """
    from scipy.special import fdtrc

    groups = [np.array([b == name for b in batches]) for name in dict.fromkeys(batches)]
    dof = len(y) - len(groups)
    if "" in batches or len(groups) < 2 or dof < 1:
        return None
    within = sum(float(np.var(y[g])) * int(g.sum()) for g in groups) / dof
    within = max(within, float(own.mean()))
    means, errors = np.array([y[g].mean() for g in groups]), np.array([within / g.sum() for g in groups])
    mean, variance, between = typical(means, errors)
    squares = float(np.sum((means - np.average(means, weights=1.0 / errors)) ** 2 / errors))
    if between <= 0.0 or fdtrc(len(groups) - 1, dof, squares / (len(groups) - 1)) > _POOLED:
        return None
    return mean, variance, max(0.0, within - float(own.mean())), between, len(groups) - 1


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
    known = Storage(name, used, left_out, float(y.mean()), None, None, 0.0, up, down, held)
    if len(y) < 2 or (up and down):
        return known
    if not up and not down:
        batch = {v.name: v.batch for v in held}
        if by_batch := typical_by_batch(y, own, [batch[n] for n in used]):
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
    ratio = float(np.exp(a.log - b.log)) if a.told and b.told else None
    unlike = across_states((*a.states, *b.states))
    if min(len(a.vials), len(b.vials)) < 2:
        return CourseComparison(a.name, b.name, ratio, (None, None), ONE_VIAL, unlike)
    low, high = _ratio_limits(a, b)
    return CourseComparison(a.name, b.name, ratio, (low, high), difference((low, high)), unlike)


def _ratio_limits(a: Storage, b: Storage) -> Limits:
    """Welch's interval of a difference of two means, on the side that is not open."""
    if a.variance is None or b.variance is None:
        return None, None
    variance = a.variance + b.variance
    parts = a.variance**2 / a.dof + b.variance**2 / b.dof
    half = t95(variance**2 / parts) * float(np.sqrt(variance)) if parts > 0.0 else 0.0
    low = None if a.open_down or b.open_up else float(np.exp(a.log - b.log - half))
    return low, None if a.open_up or b.open_down else float(np.exp(a.log - b.log + half))


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
