"""The figures of a check in one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.telling.numbers import significant

if TYPE_CHECKING:
    from glowkin.base.checks import ShotCheck


def figures_words(check: ShotCheck) -> str:
    """Samples, headroom and resolution, with what they mean for this kind of file."""
    if not check.samples:
        return "No sample found."
    samples = f"{check.samples} sample{'s' if check.samples > 1 else ''}"
    room = ", ".join(
        f"{name} {_stops(stops)}"
        for name, stops in zip(("red", "green", "blue"), check.headroom_stops, strict=True)
    )
    bound = " (at most, since the file is developed)" if check.headroom_is_bound else ""
    text = f"{samples}; headroom in stops{bound}: {room}"
    if check.resolution_u_prime_v_prime is None:
        return f"{text}."
    smallest = significant(check.resolution_u_prime_v_prime)
    return f"{text}; noise leaves the dimmest sample uncertain by {smallest} in u\u2032v\u2032 (95 %)."


def _stops(stops: float | None) -> str:
    return "\u2013" if stops is None else f"{stops:.1f}"
