"""What ``glowkin plan`` does: read the guess, plan, print. No science here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.base.durations import seconds_of
from glowkin.base.errors import WrongUseError
from glowkin.base.schedules import plan_document
from glowkin.findings.planning import Assumed, plan_schedule
from glowkin.terminal import plain_console, print_json, print_table

if TYPE_CHECKING:
    from glowkin.base.schedules import Schedule


def seconds(text: str) -> float:
    """A duration as a person writes it.

    >>> seconds("12h"), seconds("1.5 d"), seconds("90min")
    (43200.0, 129600.0, 5400.0)
    """
    found = seconds_of(text)
    if not found:
        raise WrongUseError(f"--half-time {text}: give a duration in s, min, h or d, such as 12h")
    return found


def run(half_time: str, photos: int, assumed: Assumed, program: str, *, as_json: bool) -> int:
    """One run of the command; the exit status."""
    schedule = plan_schedule(seconds(half_time), photos, assumed)
    if as_json:
        print_json(plan_document(schedule, program))
    else:
        _show(schedule)
    return 0


def _show(schedule: Schedule) -> None:
    from glowkin.telling.schedule_table import prospects_table, times_words

    console = plain_console()
    console.print(times_words(schedule), highlight=False)
    print_table(console, prospects_table(schedule))
