"""What a check answers with: frozen records and their document, as in ``records``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from glowkin.base.html_table import table_html
from glowkin.base.records import Row, build, to_json

CHECK_COLUMNS = ("verdict", "cause", "sentence", "harm_u_prime_v_prime")


@dataclass(frozen=True)
class Advice:
    """One thing to change at the next shot: its ``cause`` by name of the flag, a sentence in numbers, the
    samples it concerns (empty: all), the figure in the sentence with its unit, and how much colour it may
    cost, in u'v'.
    """

    cause: str
    sentence: str
    samples: tuple[str, ...] = ()
    value: float | None = None
    unit: str | None = None
    harm_u_prime_v_prime: float = 0.0


@dataclass(frozen=True)
class ShotCheck:
    """Whether one photograph can be measured.

    ``verdict`` is "good", "usable with care" or "cannot be measured"; ``advice`` holds at most three things
    to change, most important first, ``also`` the names of further ones. ``headroom_stops``: how far each
    channel stays below clipping; for a rendered file an upper bound, ``headroom_is_bound``.
    ``resolution_u_prime_v_prime``: what noise alone allows, 95 % semi-axis of the dimmest sample.
    """

    path: str
    verdict: str
    advice: tuple[Advice, ...]
    also: tuple[str, ...]
    kind: str
    samples: int
    headroom_stops: tuple[float | None, float | None, float | None]
    headroom_is_bound: bool
    resolution_u_prime_v_prime: float | None
    taken_at: str | None
    exposure_s: float | None
    iso: float | None
    f_number: float | None

    def rows(self) -> list[Row]:
        """One plain row for each thing to change; one without any when there is nothing."""
        head = {"path": self.path, "verdict": self.verdict}
        return [{**head, **to_json(a)} for a in self.advice] or [{**head, "cause": None, "sentence": ""}]

    def _repr_html_(self) -> str:
        return table_html(self.rows(), CHECK_COLUMNS)


def check_document(checks: Any, errors: Any, program: str) -> Row:
    """The glowkin.check.v1 document."""
    return {
        "schema": "glowkin.check.v1",
        "program": program,
        "errors": list(errors),
        "checks": [to_json(check) for check in checks],
    }


def checks_from_json(document: Row) -> list[ShotCheck]:
    """Read a glowkin.check.v1 document back."""
    return [
        build(ShotCheck, {**row, "advice": tuple(build(Advice, a) for a in row["advice"])})
        for row in document["checks"]
    ]
