"""Mass beside light: the fraction converted by each against time, and what follows."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from glowkin.telling import drawing
from glowkin.telling.numbers import duration_unit, fixed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from glowkin.base.preparations import MassCourse

_LINE = 56
"""Signs of a title that fit the figure."""


def mass_against_light(course: MassCourse) -> Figure:
    """Filled squares for mass, open circles for light, 95 % bars; on the right the mass change itself.

    The time is that of the weighings; what the light did later stands in the track record's own figure.
    """
    with drawing.style():
        fig = drawing.blank(3.9)
        ax = fig.subplots()
        last = max(p.time_s for p in course.points) or 1.0
        length, sign = duration_unit(last)
        _light(ax, course, length)
        _mass(ax, course, length)
        drawing.quiet_grid(ax)
        ax.set_xlim(-0.04 * last / length, 1.06 * last / length)
        ax.set_xlabel(f"time after the start, {sign}")
        ax.set_ylabel("fraction converted")
        low, high = ax.get_ylim()
        ax.set_ylim(min(low, -0.06), max(high, 1.12))
        _percent_axis(ax, course)
        words = textwrap.wrap(course.sentence, _LINE)
        ax.set_title("\n".join([course.sample, *words]), loc="left")
        ax.legend(loc="lower right", frameon=True, framealpha=0.85, edgecolor="none")
    return fig


def _mass(ax: Axes, course: MassCourse, length: float) -> None:
    points = course.points
    ends = [p.fraction_interval or (p.fraction_converted, p.fraction_converted) for p in points]
    y = [p.fraction_converted for p in points]
    bars = (
        [v - e[0] for v, e in zip(y, ends, strict=True)],
        [e[1] - v for v, e in zip(y, ends, strict=True)],
    )
    ax.errorbar(
        [p.time_s / length for p in points], y, yerr=bars, linestyle="-", linewidth=0.8, marker="s",
        markersize=4.5, color=drawing.colour(0), elinewidth=1.0, label="by mass", zorder=3,
    )  # fmt: skip


def _light(ax: Axes, course: MassCourse, length: float) -> None:
    if not course.light:
        return
    y = [p.fraction_converted for p in course.light]
    low = [v - (v if p.low is None else p.low) for v, p in zip(y, course.light, strict=True)]
    high = [(v if p.high is None else p.high) - v for v, p in zip(y, course.light, strict=True)]
    bars = [[max(v, 0.0) for v in side] for side in (low, high)]
    ax.errorbar(
        [p.time_s / length for p in course.light], y, yerr=bars, linestyle="--", linewidth=0.8, marker="o",
        markersize=5.5, markerfacecolor="white", color=drawing.colour(1), elinewidth=1.0,
        label="by light", zorder=2,
    )  # fmt: skip


def _percent_axis(ax: Axes, course: MassCourse) -> None:
    """The same height as a change of mass."""
    whole = course.expected_percent
    to_mass: Any = lambda fraction: fraction * whole  # noqa: E731
    to_fraction: Any = lambda mass: mass / whole  # noqa: E731
    right = ax.secondary_yaxis("right", functions=(to_mass, to_fraction))
    right.set_ylabel(f"mass change, % (whole: {fixed(whole, 2).replace('-', '−')} %)")
    right.spines["right"].set_visible(True)
