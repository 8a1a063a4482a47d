"""Standard atomic weights, abridged, with the bounds that normal materials keep."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files


@cache
def standard_weights() -> dict[str, tuple[float, float]]:
    """Atomic weight and its uncertainty, a bound, by symbol (CIAAW 2021, five figures).

    >>> standard_weights()["C"], standard_weights()["Pb"]
    ((12.011, 0.002), (207.2, 1.1))
    """
    text = files("glowkin.lab").joinpath("data/standard_atomic_weights.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["symbol"]: (float(row["weight"]), float(row["uncertainty"])) for row in rows}
