"""Storages as rows of words: how long a typical vial lasts in each, and what temperature does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.telling.numbers import NOTHING, at_least, duration, fixed, significant, with_interval
from glowkin.telling.tables import Table, flag_words, flags_if_any

if TYPE_CHECKING:
    from glowkin.base.records import TimeCourse
    from glowkin.base.storages import Arrhenius, AtTemperature, StorageCourse

ONE_VIAL = "one vial: not evidence about the storage"


def storages_table(course: TimeCourse) -> Table:
    """One row a storage, the longest-lasting first."""
    heads = ("Storage", "Vials", "Half-time of a typical vial", "Vials differ by", "Rank", "Flags")
    rows = tuple(_row(s) for s in course.storages)
    note = (
        "The typical vial is the geometric mean over vials; its interval holds how vials scatter. Rank: one "
        "more than the number of storages found to last longer, so those not told apart may share it."
    )
    words = " ".join([note, *batch_words(course), *temperature_words(course)])
    return flags_if_any(Table("Storages, the longest-lasting first", heads, rows, words))


def _row(s: StorageCourse) -> tuple[str, ...]:
    followed = len(s.vials) + len(s.left_out)
    vials = str(followed) if not s.left_out else f"{len(s.vials)} of {followed} tell a half-time"
    scatter = NOTHING if s.scatter is None else f"{significant(100 * s.scatter, 1)} %"
    rank = ONE_VIAL if s.rank is None else str(s.rank)
    return s.name, vials, typical_words(s), scatter, rank, flag_words(s.flags)


def typical_words(s: StorageCourse) -> str:
    """The half-time of a typical vial, or its bound."""
    if s.half_time_s is not None:
        return duration(s.half_time_s, s.half_time_interval_s)
    low, high = s.half_time_interval_s or (None, None)
    if low is not None:
        return f"longer than {at_least(low)}"
    return f"shorter than {duration(high)}" if high is not None else "not told by its vials"


def batch_words(course: TimeCourse) -> list[str]:
    """Which storages were tried with one batch only, and where batches differ by more than their vials."""
    lone = [s.name for s in course.storages if len(s.batches) == 1]
    apart = [
        f"{s.name} {significant(100 * s.batch_scatter, 1)} %" for s in course.storages if s.batch_scatter
    ]
    out = [f"One batch only, so how batches differ is unknown: {', '.join(lone)}."] if lone else []
    differ = f"Batches differ by more than their vials, and count as the replicates: {', '.join(apart)}."
    return [*out, *([differ] if apart else [])]


def temperature_words(course: TimeCourse) -> list[str]:
    """What temperature does, a sentence for each kind of storage."""
    return [
        sentence
        for fit in course.arrhenius
        for sentence in (_energy(fit), *(_reckoned(fit, at) for at in fit.at))
    ]


def _energy(fit: Arrhenius) -> str:
    energy = with_interval(fit.activation_energy_kj_mol, fit.activation_energy_interval_kj_mol, "kJ/mol")
    degrees = list(dict.fromkeys(fit.temperatures_c))
    two = ", two temperatures, so whether the line is straight is not tested" if len(degrees) == 2 else ""
    who = f"{fit.name}, activation energy" if fit.name else "Activation energy"
    return f"{who}: {energy}, from {_celsius(degrees[0])} to {_celsius(degrees[-1])} °C{two}."


def _reckoned(fit: Arrhenius, at: AtTemperature) -> str:
    caution = ", beyond the temperatures watched: another step may decide there" if at.beyond else ""
    time = duration(at.half_time_s, at.half_time_interval_s)
    return f"{fit.name} at {_celsius(at.temperature_c)} °C should take {time}{caution}.".strip()


def _celsius(value: float) -> str:
    return fixed(value, 0 if value == round(value) else 1).replace("-", "−")
