"""Fraction against time: a panel for each storage condition, a marker for each vial, the fit as a line."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.storages import vial_in
from glowkin.telling import drawing
from glowkin.telling.event_lines import mark_events
from glowkin.telling.naming import by_storage
from glowkin.telling.numbers import at_least, duration, duration_unit
from glowkin.telling.spots import thinned
from glowkin.telling.tables import stop_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from glowkin.base.records import ModelFit, SampleCourse, TimeCourse, TrackPoint
    from glowkin.base.uncertainty import Array

PANEL_IN = 1.85
EVENTS_IN = 0.2
"""More for a panel that has words of events above it."""
PANELS_A_PAGE = 4
WIDE = 50.0
"""Longest over shortest time from which a linear axis would crowd the early photographs at its edge."""

_TICKS_S = (
    1, 10, 60, 300, 900, 3600, 10800, 21600, 43200, 86400, 172800, 345600, 604800, 1209600, 2592000, 7776000,
    31536000, 157680000,
)  # fmt: skip
SPOILED = "spoiled-frame"
_CROSS = "×: spoiled, not counted"
_HARDLY = 0.95
"""A panel in which more than this is left throughout is drawn enlarged."""


def pages(course: TimeCourse) -> list[TimeCourse]:
    """The course in parts of at most four storage conditions, so that each figure fits a sheet."""
    groups = list(by_storage(course.samples).values())
    sheets = max(-(-len(groups) // PANELS_A_PAGE), 1)
    size = max(-(-len(groups) // sheets), 1)
    chunks = [groups[i : i + size] for i in range(0, len(groups), size)]
    return [replace(course, samples=tuple(s for group in chunk for s in group)) for chunk in chunks]


def fraction_against_time(course: TimeCourse, like: TimeCourse | None = None) -> Figure:
    """Points with their 95 % bars and the best model's curve; one time axis for all panels. Spoiled
    photographs are crosses, at the panel's edge where they would lie beyond it.

    Where a sample's amount is unknown its share of light is drawn, and the panel says so. ``like`` is a
    course whose time axis to use, so that several figures compare.
    """
    groups = by_storage(course.samples)
    axis = _TimeAxis.of([p.time_s for s in (like or course).samples for p in s.points])
    with drawing.style():
        height = PANEL_IN + (EVENTS_IN if course.events else 0.0)
        fig = drawing.blank(height * max(len(groups), 1) + 0.55)
        axes = fig.subplots(max(len(groups), 1), 1, sharex=True, squeeze=False)[:, 0]
        for ax, (condition, samples) in zip(axes, groups.items(), strict=False):
            _panel(ax, condition, samples, axis)
        axis.dress(axes[-1], course.start is not None)
        for ax, samples in zip(axes, groups.values(), strict=False):
            mark_events(ax, samples, course.events)
    return fig


class _TimeAxis:
    """Linear in one unit, or compressed where the times span a wide range."""

    def __init__(self, positive: Array, earliest: float = 0.0) -> None:
        self.earliest = earliest
        self.first = float(positive.min()) if positive.size else 1.0
        self.last = float(positive.max()) if positive.size else 1.0
        early = float(np.median(positive)) < self.last / 4 if positive.size else False
        self.compressed = self.last / self.first > WIDE and early

    @classmethod
    def of(cls, times_s: Sequence[float]) -> _TimeAxis:
        times = np.array(times_s, dtype=float)
        return cls(times[times > 0], float(times.min(initial=0.0)))

    def grid(self, n: int = 300) -> Array:
        """Times at which to draw a curve."""
        linear = np.linspace(self.earliest, self.last, n)
        if not self.compressed:
            return linear
        return np.unique(np.concatenate([linear, np.geomspace(self.first / 20, self.last, n)]))

    def dress(self, ax: Axes, has_start: bool) -> None:
        """Scale, ticks and words for the lowest panel; the others share them."""
        since = "time since the start" if has_start else "time since the first photograph"
        if self.compressed:
            ax.set_xscale("symlog", linthresh=self.first, linscale=0.5)
            ticks = self._ticks()
            ax.set_xticks(ticks, ["0" if t == 0 else short_time(t) for t in ticks], minor=False)
            ax.set_xticks([], minor=True)
            ax.set_xlim(min(-0.15 * self.first, 1.25 * self.earliest), self.last * 1.25)
            ax.set_xlabel(f"{since} (scale compressed beyond {short_time(self.first)})")
            return
        length, sign = duration_unit(self.last)
        step = _round_step(self.last / length)
        before = step * np.ceil(self.earliest / length / step)
        marks = np.arange(before, self.last / length * 1.05, step) + 0.0
        ax.set_xticks(marks * length, [f"{m:g}".replace("-", "−") for m in marks])
        ax.set_xlim(self.earliest - 0.03 * self.last, 1.05 * self.last)
        ax.set_xlabel(f"{since}, {sign}")

    def _ticks(self) -> list[float]:
        """Zero and round durations, none closer to the last than a factor two and a half."""
        ticks: list[float] = [0.0]
        for t in _TICKS_S:
            far = ticks[-1] == 0 or t / ticks[-1] > 2.5
            if self.first * 0.99 <= t <= self.last * 1.1 and far:
                ticks.append(float(t))
        return ticks


def _round_step(span: float) -> float:
    """A step of 1, 2 or 5 times a power of ten that makes at most seven of the span."""
    power = 10.0 ** np.floor(np.log10(max(span, 1e-9) / 7))
    return float(next(k * power for k in (1, 2, 5, 10) if k * power >= span / 7))


def short_time(seconds: float) -> str:
    """A time in the fewest signs, for a tick or over a picture."""
    length, sign = duration_unit(seconds)
    # 60 min, 48 h and the like read better in the larger unit where they are whole.
    for longer, name in ((86400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds >= longer and seconds % longer == 0:
            return f"{seconds / longer:g} {name}"
    return f"{seconds / length:.2g} {sign}"


def _panel(ax: Axes, condition: str, samples: Sequence[SampleCourse], axis: _TimeAxis) -> None:
    points = [p for s in samples for p in s.points]
    by_light = _only_light(points)
    ax.set_title(condition, loc="left", weight="bold", parse_math=False)
    limits = _limits(samples, by_light)
    enlarged = limits[0] > 0.0
    what = "share of light" if by_light else "amount left"
    ax.set_ylabel(f"{what}, enlarged" if enlarged else what)
    ax.set_ylim(limits)
    if not enlarged:
        ax.set_yticks((0, 0.5, 1))
    drawing.quiet_grid(ax)
    for i, sample in enumerate(samples):
        _vial(ax, i, sample, axis, by_light, alone=len(samples) == 1)
    if by_light:
        drawing.say(ax, 1.0, 1.03, "light, not amount", ha="right", va="bottom")
    elif all(p.fraction_start is None for p in points):
        drawing.say(ax, 0.5, 0.75, "no second form seen, so there is no share to plot", ha="center")
    if samples:
        ax.legend(
            loc="best", frameon=True, framealpha=0.85, edgecolor="none", borderpad=0.2, handletextpad=0.3
        )


def _vial(ax: Axes, i: int, sample: SampleCourse, axis: _TimeAxis, by_light: bool, alone: bool) -> None:
    colour = drawing.colour(i)
    counted, spoiled = (thinned(points) for points in _apart(sample.points))
    t, y, below, above = _values(counted, by_light)
    ax.errorbar(
        t, y, yerr=(below, above), linestyle="none", marker=drawing.marker(i), markersize=4.5, color=colour,
        markerfacecolor="white" if i % 2 else colour, elinewidth=0.8, label=_finding(sample, alone),
    )  # fmt: skip
    t, y, *_ = _values(spoiled, by_light)
    if t.size:
        told = _CROSS in ax.get_legend_handles_labels()[1]
        y = np.clip(y, *ax.get_ylim())
        ax.plot(t, y, "x", color=colour, markersize=6.5, clip_on=False, label=None if told else _CROSS)
    fitted = next((m for m in sample.models if m.model == sample.model), None)
    curve = None if by_light or fitted is None else curve_of(fitted, axis.grid())
    if curve is not None:
        ax.plot(axis.grid(), curve, color=colour, linewidth=1.1, linestyle=("-", "--", "-.", ":")[i % 4])


def _apart(points: Sequence[TrackPoint]) -> tuple[list[TrackPoint], list[TrackPoint]]:
    """The points that count, and the spoiled ones."""
    return [p for p in points if SPOILED not in p.flags], [p for p in points if SPOILED in p.flags]


def _only_light(points: Sequence[TrackPoint]) -> bool:
    """Whether shares of light are all there is."""
    light = any(p.light_fraction_start is not None for p in points)
    return light and all(p.fraction_start is None for p in points)


def _limits(samples: Sequence[SampleCourse], by_light: bool) -> tuple[float, float]:
    """From none to all, and as far beyond as noise has carried the points, within reason.

    Where hardly anything has changed, what has is enlarged.
    """
    values = (
        np.concatenate([_values(_apart(s.points)[0], by_light)[1] for s in samples])
        if samples
        else np.zeros(0)
    )
    low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    if values.size and low > _HARDLY:
        room = max(high - low, 1.0 - _HARDLY) * 0.6
        return low - room, high + 0.4 * room
    return max(min(-0.06, low - 0.05), -0.5), min(max(1.12, high + 0.05), 1.6)


def _values(points: Sequence[TrackPoint], by_light: bool) -> tuple[Array, Array, Array, Array]:
    """Times, values and the lengths of the bars below and above; no bar where the interval is unknown."""
    rows = []
    for p in sorted(points, key=lambda p: p.time_s):
        y = p.light_fraction_start if by_light else p.fraction_start
        if y is None:
            continue
        low = y if by_light or p.low is None else p.low
        high = y if by_light or p.high is None else p.high
        rows.append((p.time_s, y, max(y - low, 0.0), max(high - y, 0.0)))
    columns = np.array(rows, dtype=float).reshape(-1, 4)
    return columns[:, 0], columns[:, 1], columns[:, 2], columns[:, 3]


def _finding(sample: SampleCourse, alone: bool) -> str:
    """The vial and what it did, in the fewest words."""
    vial = "" if alone else f"{vial_in(sample).replicate or sample.name}: "
    if sample.half_time_s is not None:
        half = f"{vial}half-time {duration(sample.half_time_s, sample.half_time_interval_s)}"
        return f"{half}, then {stop} left" if (stop := stop_words(sample)) else half
    if sample.longer_than_s is not None:
        return f"{vial}no change seen, longer than {at_least(sample.longer_than_s)}"
    if sample.light_half_time_s is not None:
        return f"{vial}{sample.verdict}, light at its middle after {duration(sample.light_half_time_s)}"
    return f"{vial}{sample.verdict}"


def curve_of(fitted: ModelFit, times_s: Array) -> Array | None:
    """The amount left by a fitted model at these times; None for a model that is not in the catalogue."""
    from glowkin.findings.rate_models import RATE_MODELS

    model = RATE_MODELS.get(fitted.model)
    if model is None or fitted.half_time_s is None:
        return None
    return model.course(times_s, fitted.half_time_s, fitted.parameters)
