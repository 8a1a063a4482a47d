"""What a report on a study tells beyond its measurements; every part may be empty."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.checks import ShotCheck
    from glowkin.base.preparations import Preparation
    from glowkin.base.study import StudyFile
    from glowkin.telling.previews import Preview


@dataclass(frozen=True)
class RoomLight:
    """A photograph of the same samples in room light, to be seen and not measured."""

    name: str
    sha256: str
    picture: Preview


@dataclass(frozen=True)
class Program:
    """A version that measured, with those of what it computes by, and how many photographs."""

    name: str
    versions: Mapping[str, str]
    photographs: int


@dataclass(frozen=True)
class StudyTold:
    """``checks``, ``room_light`` and ``notes`` go by the photograph's path; ``left_out`` are photographs with
    the reason, ``edits`` what was changed and when, ``conclusions`` rows of number, kind, time, program,
    count and state, ``file`` what the study file says, ``missing`` the files it names that are not there
    or cannot be read, with what is wrong, ``most_pairs`` how many comparisons the table shows, all without,
    ``course_in`` where every point of the course is, ``course_note`` what it goes without.
    """

    title: str
    begun: str
    file: StudyFile
    preparations: tuple[Preparation, ...] = ()
    checks: Mapping[str, ShotCheck] = field(default_factory=dict)
    room_light: Mapping[str, RoomLight] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    left_out: tuple[tuple[str, str], ...] = ()
    edits: tuple[tuple[str, str], ...] = ()
    conclusions: tuple[tuple[str, ...], ...] = ()
    programs: tuple[Program, ...] = ()
    missing: Sequence[tuple[str, str]] = ()
    most_pairs: int | None = None
    course_in: str = "the study"
    course_note: str = ""
