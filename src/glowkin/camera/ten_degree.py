"""From the 2 degree observer, for which cameras describe themselves, to the 10 degree one.

Three channels tell no spectrum, so the step on the u'v' diagram is the mean over emission bands of like
chromaticity; its scatter is added to the error. The table comes from ``benchmarks/ten_degree.py``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array


@dataclass(frozen=True)
class ObserverStep:
    """``rows``: u'v' of a node, mean step, and its scatter's second moments uu, uv, vv (k x 7)."""

    rows: Array
    reach: float

    @staticmethod
    @lru_cache(maxsize=1)
    def load() -> ObserverStep:
        """The table that comes with glowkin."""
        text = resources.files(__package__).joinpath("data", "ten_degree.json").read_text("utf-8")
        table = json.loads(text)
        return ObserverStep(np.array(table["nodes"], dtype=float), table["reach"])

    def at(self, uv_prime: Array) -> tuple[Array, Array]:
        """10 degree chromaticity (n x 2) of 2 degree ones (n x 2), and the step's covariance (n x 2 x 2)."""
        squared = np.square(uv_prime[:, None] - self.rows[:, :2]).sum(axis=2) / self.reach**2
        weight = np.exp(-(squared - squared.min(axis=1, keepdims=True)))
        mean = weight @ self.rows[:, 2:] / weight.sum(axis=1, keepdims=True)
        return uv_prime + mean[:, :2], mean[:, [2, 3, 3, 4]].reshape(-1, 2, 2)
