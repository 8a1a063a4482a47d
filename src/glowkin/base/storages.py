"""Records of storages: how long the vials of one condition take, and what temperature does to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from glowkin.base.names import split_temperature, split_vial

if TYPE_CHECKING:
    from glowkin.base.records import SampleCourse

Limits = tuple[float | None, float | None]
"""A 95 % interval; None is an open end."""


@dataclass(frozen=True)
class Vial:
    """Where a sample belongs: its storage ``condition`` and ``replicate``, its batch, the storage's
    temperature, and ``kind``, what the storage is but for its temperature. ``states``: wet, dried or ground,
    those that it was photographed in, as far as a study file tells.
    """

    name: str
    condition: str
    replicate: str = ""
    batch: str = ""
    temperature_c: float | None = None
    kind: str = ""
    states: tuple[str, ...] = ()


def vial_of(name: str, *, alone: bool = False) -> Vial:
    """What a sample's name tells of that; ``alone``: the name is that of a condition, without a vial.

    >>> vial = vial_of("MgCl2 25 C-2")
    >>> vial.condition, vial.replicate, vial.temperature_c, vial.kind
    ('MgCl2 25 C', '2', 25.0, 'MgCl2')
    """
    condition, replicate = (name, "") if alone else split_vial(name)
    kind, celsius = split_temperature(condition)
    return Vial(name, condition, replicate, "", celsius, kind)


def vial_in(course: SampleCourse) -> Vial:
    """Where a followed sample belongs, by its own word or its name."""
    return course.vial or vial_of(course.name)


@dataclass(frozen=True)
class StorageCourse:
    """How long a typical vial of one storage takes: the geometric mean over its vials.

    ``half_time_interval_s`` is for the mean of all vials that could be stored so: it holds how vials scatter
    and is open where some vial's is; None where one vial tells nothing of that. ``scatter`` is the sd of the
    natural logarithm of the half-time from vial to vial, the fits' own errors taken off: 0.1 is 10 %.
    ``batches``: those that the vials are of, where that is told; ``batch_scatter`` the same from batch to
    batch, beyond what their vials' scatter explains, None with fewer than two.
    ``rank``: one more than the number of storages found to last longer; None with one vial.
    """

    name: str
    vials: tuple[str, ...]
    half_time_s: float | None
    half_time_interval_s: Limits | None
    scatter: float | None
    rank: int | None
    temperature_c: float | None = None
    left_out: tuple[str, ...] = ()
    batches: tuple[str, ...] = ()
    batch_scatter: float | None = None
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class CourseComparison:
    """How many times longer one sample takes than another; None is an open end."""

    a: str
    b: str
    half_time_ratio: float | None
    interval: Limits
    verdict: str
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class AtTemperature:
    """The half-time reckoned for one temperature; ``beyond`` the temperatures watched or within them."""

    temperature_c: float
    half_time_s: float
    half_time_interval_s: Limits | None
    beyond: bool


@dataclass(frozen=True)
class Arrhenius:
    """How the rate of one kind of storage rises with temperature, ln k = ln A - Ea / RT."""

    name: str
    storages: tuple[str, ...]
    temperatures_c: tuple[float, ...]
    activation_energy_kj_mol: float
    activation_energy_interval_kj_mol: tuple[float, float] | None
    at: tuple[AtTemperature, ...] = ()


def storages_from_json(document: dict[str, Any]) -> dict[str, Any]:
    """The storages of a glowkin.track.v1 document, as fields of a time course."""
    from glowkin.base.records import build

    rows = document.get("arrhenius", ())
    return {
        "storages": tuple(build(StorageCourse, row) for row in document.get("storages", ())),
        "storage_comparisons": tuple(
            build(CourseComparison, row) for row in document.get("storage_comparisons", ())
        ),
        "arrhenius": tuple(
            build(Arrhenius, {**row, "at": [build(AtTemperature, at) for at in row["at"]]}) for row in rows
        ),
    }
