"""Whether photographs were taken alike, as far as the study file tells: lamps, filters, temperatures; and
whether samples were in one state.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from glowkin.base.study import Shot, StudyFile

APART_C = 3.0
"""Temperatures at the shot that differ by more are flagged (common practice, no source)."""


def across(study: StudyFile, photographs: Sequence[tuple[str, str | None]]) -> tuple[str, ...]:
    """The flags of comparing these photographs (path, and when it was taken) with each other.

    What is not told of a photograph counts as nothing known, not as a difference.
    """
    shots = [study.shot_of(path, taken_at) for path, taken_at in photographs]
    degrees = [s.temperature_c for s in shots if s.temperature_c is not None]
    raised = {
        "across-lamps": _differ([_excitation(study, s) for s in shots]),
        "across-filters": _differ([_lamp_filter(study, s) for s in shots])
        or _differ([s.filter for s in shots]),
        "across-temperatures": bool(degrees) and max(degrees) - min(degrees) > APART_C,
    }
    return tuple(name for name, so in raised.items() if so)


def states_in(
    study: StudyFile, photographs: Iterable[tuple[str, Iterable[str]]]
) -> dict[str, tuple[str, ...]]:
    """The states in which samples were photographed, by the sample's name, each once; ``photographs`` are
    paths with the names of the samples in them. A photograph's own entry comes before the sample's.
    """
    of_sample = {s.name: s.state for s in study.sample if s.state}
    found: dict[str, dict[str, None]] = {}
    for path, names in photographs:
        there = study.state_in(path)
        for name in names:
            if state := there or of_sample.get(name):
                found.setdefault(name, {})[state] = None
    return {name: tuple(states) for name, states in found.items()}


STATES = ("across-states",)
"""The flag of what is compared, or followed, wet, dried or ground beside another of these."""


def across_states(states: Iterable[str]) -> tuple[str, ...]:
    """The flag where states differ; one that is not told is no difference.

    >>> across_states(["dried", "", "ground"]), across_states(["wet", ""])
    (('across-states',), ())
    """
    return STATES if _differ(states) else ()


def _differ(values: Iterable[object]) -> bool:
    return len({v for v in values if v not in ("", None)}) > 1


def _excitation(study: StudyFile, shot: Shot) -> object:
    """What excites: the lamp's peak where it is told, else its name."""
    lamp = study.lamp_named(shot.lamp)
    return (lamp.peak_nm or lamp.name) if lamp else None


def _lamp_filter(study: StudyFile, shot: Shot) -> str:
    lamp = study.lamp_named(shot.lamp)
    return lamp.filter if lamp else ""
