"""How a rate rises with temperature: ln k = ln A - Ea / (R T), and what that says of other temperatures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import t95

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

GAS_CONSTANT = 8.31446261815324
"""J / (mol K), exact since 2019 (SI)."""
ZERO_C_K = 273.15


@dataclass(frozen=True)
class ArrheniusFit:
    """A straight line through ln k against 1 / T, with what is needed for its errors.

    ``own`` (n,) are variances of the ln k by themselves with ``own_dof`` (n,) degrees of freedom, None where
    they are not known; ``scatter`` is the mean square about the line, None with two temperatures, through
    which any line goes.
    """

    x: Array
    y: Array
    own: Array
    own_dof: Array | None
    slope: float
    scatter: float | None

    def activation_energy(self) -> float:
        """Ea, J / mol."""
        return -GAS_CONSTANT * self.slope

    def activation_energy_half_width(self) -> float:
        """Half of its 95 % interval, J / mol; infinite where nothing tells it."""
        return GAS_CONSTANT * self._half_width(self._centred() / self._spread(), 0.0)

    def log_rate(self, celsius: float) -> tuple[float, float]:
        """Logarithm of the rate of one more storage at that temperature, and half its prediction interval."""
        at = 1.0 / (celsius + ZERO_C_K) - self.x.mean()
        weights = 1.0 / len(self.x) + at * self._centred() / self._spread()
        return float(self.y.mean() + self.slope * at), self._half_width(weights, 1.0)

    def _centred(self) -> Array:
        return np.asarray(self.x - self.x.mean())

    def _spread(self) -> float:
        return float(np.sum(self._centred() ** 2))

    def _half_width(self, weights: Array, more: float) -> float:
        """Of a weighted sum of the ln k: by their own errors or by the scatter about the line, the larger.

        ``more`` counts further single storages, as a prediction has one. Unequal variances have the degrees
        of freedom of the Welch-Satterthwaite formula (JCGM 100:2008, G.4.1).
        """
        parts, widths = (weights**2 + more / len(self.x)) * self.own, list[float]()
        if self.own_dof is not None:
            dof = parts.sum() ** 2 / np.sum(parts**2 / self.own_dof)
            widths.append(t95(float(dof)) * float(np.sqrt(parts.sum())))
        if self.scatter is not None:
            variance = self.scatter * float(np.sum(weights**2) + more)
            widths.append(t95(len(self.x) - 2) * float(np.sqrt(variance)))
        return max(widths, default=np.inf)


def fit_arrhenius(
    celsius: Array, log_rates: Array, own: Array | None = None, dof: Array | None = None
) -> ArrheniusFit:
    """Least squares (n,) on ln k; two different temperatures at least.

    ``own`` (n,): variances of the ln k by themselves, with ``dof`` (n,) degrees of freedom, where known.
    """
    x = 1.0 / (np.asarray(celsius, dtype=float) + ZERO_C_K)
    y, centred = np.asarray(log_rates, dtype=float), x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    rest = y - y.mean() - slope * centred
    scatter = float(rest @ rest) / (len(x) - 2) if len(x) > 2 else None
    return ArrheniusFit(x, y, np.zeros_like(x) if own is None else own, dof, slope, scatter)
