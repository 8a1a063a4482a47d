"""Standard atomic weights, abridged, with the bounds that normal materials keep."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from glowkin.lab.budget import Known

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from glowkin.lab.formula import Formula


@cache
def standard_weights() -> dict[str, tuple[float, float]]:
    """Atomic weight and its uncertainty, a bound, by symbol (CIAAW 2021, five figures).

    >>> standard_weights()["C"], standard_weights()["Pb"]
    ((12.011, 0.002), (207.2, 1.1))
    """
    text = files("glowkin.lab").joinpath("data/standard_atomic_weights.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["symbol"]: (float(row["weight"]), float(row["uncertainty"])) for row in rows}


def weight_inputs(formulas: Iterable[Formula]) -> dict[str, Known]:
    """The atomic weights that formulas need, each known within the bound that normal materials keep."""
    weights = standard_weights()
    symbols = dict.fromkeys(symbol for f in formulas for symbol in f.elements)
    return {_weight(symbol): Known.within(*weights[symbol]) for symbol in symbols}


def formula_mass(formula: Formula, x: Mapping[str, float]) -> float:
    """Formula mass, g/mol, from inputs by name; the electrons of a charge are not counted."""
    return sum(n * x[_weight(symbol)] for symbol, n in formula.elements.items())


def _weight(symbol: str) -> str:
    return f"atomic weight of {symbol}"
