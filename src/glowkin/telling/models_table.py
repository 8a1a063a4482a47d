"""The rate models of each sample side by side: how much worse than the best, and what each makes of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.telling.numbers import NOTHING, duration, fixed, significant
from glowkin.telling.tables import Table, model_words

if TYPE_CHECKING:
    from glowkin.base.records import ModelFit, TimeCourse

_WORDS = {"exponent": "exponent", "germ": "germ", "stops_at": "stops at"}


def models_table(course: TimeCourse) -> Table:
    """The best models of each sample that has any, as many as the course says are shown."""
    heads = ("Sample", "Model", "AICc above the best", "Half-time", "Parameters")
    rows = tuple(
        (s.name if i == 0 else "", model_words(m.model), fixed(m.aicc - s.models[0].aicc, 1), *_figures(m))
        for s in course.samples
        for i, m in enumerate(s.models[: course.models_shown])
    )
    most = max((len(s.models) for s in course.samples), default=0)
    note = (
        "AICc: up to 2 above the best, a model describes the photographs about as well; above 10 it has "
        "essentially no support (Burnham & Anderson 2002). A model further off may fit as well and only have "
        "more parameters; then it is not excluded either."
    )
    if most > course.models_shown:
        note += f" The best {course.models_shown} of {most} are shown; glowkin track --all-models shows all."
    return Table("Rate models compared", heads, rows, note)


def _figures(fitted: ModelFit) -> tuple[str, str]:
    told = [f"{word} {significant(fitted.parameters[key])}" for key, word in _WORDS.items()
            if key in fitted.parameters]  # fmt: skip
    if "induction_s" in fitted.parameters:
        told.append(f"begins after {duration(fitted.parameters['induction_s'], None)}")
    half = duration(fitted.half_time_s, fitted.half_time_interval_s)
    return half, ", ".join(told) or NOTHING
