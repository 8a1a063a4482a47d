"""A plan in words: when to photograph, and what that would tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.telling.numbers import NOTHING, duration_unit, fixed, significant
from glowkin.telling.tables import Table, model_words

if TYPE_CHECKING:
    from glowkin.base.schedules import Prospect, Schedule


def times_words(schedule: Schedule) -> str:
    """The times in one unit, after time zero."""
    length, sign = duration_unit(schedule.times_s[len(schedule.times_s) // 2])
    times = ", ".join(fixed(t / length, 2).rstrip("0").rstrip(".") for t in schedule.times_s)
    return f"Photograph at {times} {sign} after time zero, with a control in every frame."


def prospects_table(schedule: Schedule) -> Table:
    """One row for each course the change might follow."""
    heads = (
        "If the change is",
        "Half-time known within",
        "If the guess is off twofold",
        "Not told apart from",
    )
    assumed = (
        f"a new form {schedule.brightness_ratio:g} times as bright, {_percent(schedule.channel_noise)} noise "
        f"in a channel, {_percent(schedule.lamp_noise)} of the lamp left by the control"
    )
    note = (
        f"95 %, by the information of the fit, not simulated; assumed: {assumed}. The model counts as known: "
        "intervals that span several models are wider. Models not named would be excluded in about 19 of 20 "
        "series, though the guess be off twofold."
    )
    return Table("What these photographs would tell", heads, tuple(_row(p) for p in schedule.prospects), note)


def _row(p: Prospect) -> tuple[str, ...]:
    shape = {"prout-tompkins": "germ"}.get(p.model, "exponent")
    who = model_words(p.model) + ("" if p.shape is None else f", {shape} {significant(p.shape, 1)}")
    rest = ", ".join(model_words(m) for m in p.not_told_apart) or NOTHING
    return who, _share(p.half_time_error), _share(p.worst_half_time_error), rest


def _share(error: float | None) -> str:
    return "not told" if error is None else f"± {significant(100 * error, 2 if error >= 0.1 else 1)} %"


def _percent(share: float) -> str:
    return f"{100 * share:g} %"
