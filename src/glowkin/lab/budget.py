"""Figures reckoned from weighings and tables, with what each input adds to their uncertainty.

First-order propagation by a step of each input's standard uncertainty either way, with no derivative written
down: c_i u_i = (f(x_i + u_i) - f(x_i - u_i)) / 2 (JCGM 100:2008, 5.1.3, note 2). Results keep their
shares by input, so a difference of two cancels what they have in common.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    Reckon = Callable[[Mapping[str, float]], Mapping[str, float]]

Z95 = 1.959963984540054
"""Coverage factor of a 95 % interval of a normal distribution; not taken from a room that loads numpy."""


@dataclass(frozen=True)
class Known:
    """An input and its standard uncertainty, in its unit."""

    value: float
    u: float = 0.0

    @classmethod
    def within(cls, value: float, bound: float) -> Known:
        """Known to lie within a bound either way, anywhere in it alike (JCGM 100:2008, 4.3.7)."""
        return cls(value, bound / sqrt(3.0))


@dataclass(frozen=True)
class Figure:
    """A reckoned value, and by input the signed share c u of its standard uncertainty."""

    value: float
    shares: Mapping[str, float]

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return sqrt(sum(s * s for s in self.shares.values()))

    @property
    def interval(self) -> tuple[float, float]:
        """95 %, normal."""
        return self.value - Z95 * self.u, self.value + Z95 * self.u

    @property
    def largest(self) -> str:
        """The input that adds most; empty where nothing does."""
        if self.u == 0.0:
            return ""
        return max(self.shares, key=lambda name: abs(self.shares[name]))

    def minus(self, other: Figure) -> Figure:
        """The difference; what both have in common cancels."""
        names = dict.fromkeys((*self.shares, *other.shares))
        shares = {n: self.shares.get(n, 0.0) - other.shares.get(n, 0.0) for n in names}
        return Figure(self.value - other.value, shares)


def carried(reckon: Reckon, inputs: Mapping[str, Known]) -> dict[str, Figure]:
    """Every result of ``reckon`` (inputs by name -> results by name) with its uncertainty.

    >>> area = carried(lambda x: {"area": x["a"] * x["b"]}, {"a": Known(2.0, 0.1), "b": Known(3.0, 0.1)})
    >>> round(area["area"].u, 3), area["area"].largest
    (0.361, 'a')
    """
    values = {name: known.value for name, known in inputs.items()}
    shares: dict[str, dict[str, float]] = {}
    for name, known in inputs.items():
        if known.u == 0.0:
            continue
        above = reckon({**values, name: known.value + known.u})
        below = reckon({**values, name: known.value - known.u})
        for result, high in above.items():
            shares.setdefault(result, {})[name] = (high - below[result]) / 2.0
    return {name: Figure(value, shares.get(name, {})) for name, value in reckon(values).items()}
