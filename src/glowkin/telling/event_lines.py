"""Events over a panel of a course: a line where each happened, its word above the panel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from glowkin.telling import drawing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from glowkin.base.events import Event
    from glowkin.base.records import SampleCourse

CHARACTER = 0.0172
"""Width of a letter of small words, as a share of a panel's width."""


@dataclass(frozen=True)
class _Words:
    """Words at a place along the axis, 0 to 1."""

    at: float
    text: str

    @property
    def left(self) -> float:
        """Where they begin: in the middle over their line, but within the panel."""
        return min(max(self.at - self.width / 2.0, 0.0), 1.0 - self.width)

    @property
    def width(self) -> float:
        """How much of the axis they take."""
        return CHARACTER * (len(self.text) + 1)


def seen_by(samples: Sequence[SampleCourse], events: Sequence[Event]) -> list[tuple[float, str]]:
    """The events of these samples, each on the first one's own time; its own opening is time zero anyway."""
    begun = samples[0].begun_s if samples else 0.0
    lived = [e for e in events if e.time_s is not None and any(e.concerns(s.name) for s in samples)]
    told = [((e.time_s or 0.0) - begun, e.what) for e in lived]
    return [(time_s, words) for time_s, words in dict.fromkeys(told) if time_s or words != "opened"]


def mark_events(ax: Axes, samples: Sequence[SampleCourse], events: Sequence[Event]) -> None:
    """Draw them on a panel whose axes are settled; words that would touch are joined."""
    low, high = ax.get_xlim()
    shown = [(t, words) for t, words in seen_by(samples, events) if low <= t <= high]
    for time_s, _ in shown:
        ax.axvline(time_s, color=drawing.FAINT, linewidth=0.9, linestyle=(0, (1, 1.5)), zorder=1)
    along = ax.transData + ax.transAxes.inverted()
    labels: list[_Words] = []
    for time_s, text in sorted(shown):
        label = _Words(float(along.transform((time_s, 0.0))[0]), text)
        while labels and label.left < labels[-1].left + labels[-1].width:
            before = labels.pop()
            label = _Words((before.at + label.at) / 2.0, f"{before.text}, {label.text}")
        labels.append(label)
    for label in labels:
        drawing.say(ax, label.left, 1.02, label.text, va="bottom")
    if labels:
        ax.set_title(ax.get_title(loc="left"), loc="left", weight="bold", parse_math=False, pad=18)
