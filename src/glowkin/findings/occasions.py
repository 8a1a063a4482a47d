"""What happened within a series, as the study file tells: when each sample began, where the light broke."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.events import Event
from glowkin.findings.bleaching import bleaching_of
from glowkin.findings.clocks import lamp_on
from glowkin.findings.frames import moment
from glowkin.findings.violet import by_violet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.clocks import Bleaching
    from glowkin.base.study import StudyFile
    from glowkin.base.uncertainty import Array
    from glowkin.findings.frames import Frame
    from glowkin.findings.unmix import Series
    from glowkin.findings.violet import ByViolet

_CONDITIONS = ("opened", "sealed", "warmed")
_LAMP_SD = 3.0
"""How far brightness may differ across a change of lamp, as a share of itself: as good as unknown."""
_MOVED_SD = 0.2
"""The same where samples or lamp were moved: no two places are lit alike (common practice, no source)."""


@dataclass(frozen=True)
class Occasions:
    """What is known of a series beside its photographs.

    ``lamp_on`` are the seconds that the lamp had been on (n,), with what tells them; ``spells`` (n,) the lamp
    each photograph was lit by, counted from 0; ``faded`` the controls that lose light; ``violet`` steadies
    the lamp where there is no control.
    """

    study: StudyFile | None = None
    events: tuple[Event, ...] = ()
    lamp_on: tuple[Array, str] | None = None
    spells: tuple[int, ...] = ()
    faded: tuple[Bleaching, ...] = ()
    violet: ByViolet | None = None

    def begun_s(self, name: str) -> float:
        """When a sample's own time begins, after the series' zero: at its opening, unless a start is told."""
        if self.study is None or self.study.start:
            return 0.0
        opened = [e.time_s or 0.0 for e in self.events if e.what == "opened" and e.concerns(name)]
        return min(opened, default=0.0)

    def on(self, series: Series, frames: Sequence[Frame], name: str) -> Series:
        """A sample's series on its own time, and with brightness open beyond each break of lamp or place.

        An open factor is one more kind of light in an unknown amount: the sample's own. That of the first
        spell is none, the others are fitted to it.
        """
        factors = self._uncompared(frames, name)
        if not factors.shape[1]:
            return replace(series, times_s=series.times_s - self.begun_s(name))
        own = np.nan_to_num(series.signals)[:, :, None] * factors[:, None, :]
        stray = own if series.stray is None else np.concatenate([series.stray, own], axis=2)
        return replace(series, times_s=series.times_s - self.begun_s(name), stray=stray)

    def flags(self, frames: Sequence[Frame]) -> tuple[str, ...]:
        """What a reader of the whole series must know."""
        first, last = frames[0].time_s, frames[-1].time_s
        checks = {
            "lamp-changed": max(self.spells, default=0) > 0,
            "arrangement-moved": any(e.what == "moved" and first < _when(e) <= last for e in self.events),
            "control-fades": any(b.told_from_lamp for b in self.faded),
        }
        return tuple(name for name, raised in checks.items() if raised)

    def condition_changed(self, frames: Sequence[Frame], name: str) -> bool:
        """Whether a sample was opened, sealed or warmed after its time began, before the last photograph."""
        changes = [e for e in self.events if e.what in _CONDITIONS and e.concerns(name)]
        return any(self.begun_s(name) < _when(e) < frames[-1].time_s for e in changes)

    def _uncompared(self, frames: Sequence[Frame], name: str) -> Array:
        """Factors of brightness (n, r) that are open, one sd each."""
        spells = np.array(self.spells)
        columns = [_LAMP_SD * (spells == k) for k in range(1, max(self.spells, default=0) + 1)]
        times = np.array([f.time_s for f in frames])
        for event in self.events:
            after = times >= _when(event)
            if event.what == "moved" and event.concerns(name) and after.any() and not after.all():
                columns.append(_MOVED_SD * after)
        return np.array(columns, dtype=float).reshape(len(columns), len(frames)).T


def occasions_of(
    frames: Sequence[Frame], study: StudyFile | None, controls: Sequence[str], references: Sequence[str]
) -> Occasions:
    """What the study file tells of a series, and which of its controls fade."""
    dose = lamp_on(frames, study)
    spells = () if study is None else lamp_spells(frames, study)
    faded = bleaching_of(frames, controls, references, None if dose is None else dose[0], spells)
    violet = None if controls else by_violet(frames)
    return Occasions(study, () if study is None else _events(frames, study), dose, spells, faded, violet)


def lamp_spells(frames: Sequence[Frame], study: StudyFile) -> tuple[int, ...]:
    """For each frame which spell of one lamp it belongs to, counted from 0."""
    changes = [moment(e.at, "at") for e in study.event if e.what == "lamp changed"]
    spells: dict[tuple[int, str], int] = {}
    out = []
    for frame in frames:
        taken = frame.photo.taken_at or ""
        lamp = study.lamp_named(study.shot_of(frame.photo.path, taken).lamp)
        key = sum(at <= moment(taken, "taken_at") for at in changes), lamp.name if lamp else ""
        out.append(spells.setdefault(key, len(spells)))
    return tuple(out)


def _events(frames: Sequence[Frame], study: StudyFile) -> tuple[Event, ...]:
    """The events in order, each with its time after zero."""
    first = moment(frames[0].photo.taken_at or "", "taken_at")
    told = sorted((moment(e.at, "at"), i) for i, e in enumerate(study.event))
    return tuple(
        Event(**asdict(study.event[i]), time_s=(at - first).total_seconds() + frames[0].time_s)
        for at, i in told
    )


def _when(event: Event) -> float:
    return float("inf") if event.time_s is None else event.time_s
