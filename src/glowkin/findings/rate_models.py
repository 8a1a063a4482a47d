"""The catalogue of rate models: how much of the starting form remains after a time.

Each model is ``g(alpha) = t / tau`` solved for the remaining fraction ``1 - alpha``; ``x = t / tau``.
Source of the integral forms g(alpha): Khawam & Flanagan, J. Phys. Chem. B 110, 17315 (2006); Vyazovkin
et al., Thermochimica Acta 520, 1 (2011). The stretched exponential (Kohlrausch) has the Avrami form with
an exponent below 1. Autocatalysis after Prout & Tompkins (Trans. Faraday Soc. 40, 488, 1944) starts from a
germ, without which it never would: the smaller, the longer the delay. A further model is one more entry.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from glowkin.base.uncertainty import Array


@dataclass(frozen=True)
class RateModel:
    """A rate model; ``exponent`` is its shape, ignored by models whose ``exponent_range`` is None.

    ``remaining(x, exponent)`` is the fraction left at x = t / tau >= 0, ``half_x(exponent)`` the x at
    which half is left, ``g(alpha, exponent)`` the published integral form, x as a function of the
    converted fraction. Arrays broadcast. ``shape`` names the parameter that ``told`` makes of the exponent,
    and ``untold`` the exponent of it; at exponent 1 every model that has one is first order.
    """

    name: str
    remaining: Callable[[Array, Array], Array]
    half_x: Callable[[Array], Array]
    g: Callable[[Array, Array], Array]
    exponent_range: tuple[float, float] | None = None
    shape: str = "exponent"
    told: Callable[[Array], Array] = lambda exponent: exponent
    untold: Callable[[Array], Array] = lambda shape: shape

    def fraction(self, times_s: Array, half_time_s: Array, exponent: Array) -> Array:
        """Fraction left at ``times_s``, on the scale of the half time; times before zero count as zero."""
        x = np.maximum(times_s, 0.0) / half_time_s * self.half_x(exponent)
        return self.remaining(x, exponent)

    def course(self, times_s: Array, half_time_s: float, parameters: Mapping[str, float]) -> Array:
        """Fraction left by the parameters of a record: a shape, ``induction_s`` and ``stops_at``, if any.

        The half time is from time zero to the middle between start and end.
        """
        exponent = self.untold(np.array(parameters.get(self.shape, 1.0)))
        induction, end = parameters.get("induction_s", 0.0), parameters.get("stops_at", 0.0)
        going = self.fraction(times_s - induction, np.array(half_time_s - induction), exponent)
        return np.asarray(end + (1.0 - end) * going)


def _weibull(x: Array, exponent: Array) -> Array:
    with np.errstate(over="ignore", under="ignore"):
        return np.asarray(np.exp(-(x**exponent)))


def _weibull_half(exponent: Array) -> Array:
    return np.asarray(np.log(2.0) ** (1.0 / exponent))


def _weibull_g(alpha: Array, exponent: Array) -> Array:
    return np.asarray((-np.log1p(-alpha)) ** (1.0 / exponent))


def _germ(exponent: Array) -> Array:
    """The share of the final rate constant that acts at the start: 1 is first order, near 0 all catalysis."""
    return np.asarray(np.exp(1.0 - exponent))


def _autocatalytic(x: Array, exponent: Array) -> Array:
    """Solves f' = -f (s + (1 - s) (1 - f)), s the germ: the logistic of Prout and Tompkins from f = 1."""
    s = _germ(exponent)
    return np.asarray(1.0 / (1.0 - s + s * np.exp(np.minimum(x, 700.0))))


def _autocatalytic_g(alpha: Array, exponent: Array) -> Array:
    """ln(alpha / (1 - alpha) + s) - ln s: the published ln(alpha / (1 - alpha)), begun at nothing."""
    s = _germ(exponent)
    return np.asarray(np.log(alpha / (1.0 - alpha) + s) - np.log(s))


def _contracting(name: str, dimensions: int) -> RateModel:
    """A front that moves inwards at a steady rate through grains of two or three dimensions."""
    return RateModel(
        name,
        remaining=lambda x, _: np.maximum(0.0, 1.0 - x) ** dimensions,
        half_x=lambda exponent: np.full_like(exponent, 1.0 - 0.5 ** (1.0 / dimensions)),
        g=lambda alpha, _: 1.0 - (1.0 - alpha) ** (1.0 / dimensions),
    )


_TABLE = (
    RateModel(
        "zero-order",
        remaining=lambda x, _: np.maximum(0.0, 1.0 - x),
        half_x=lambda exponent: np.full_like(exponent, 0.5),
        g=lambda alpha, _: alpha,
    ),
    RateModel(
        "first-order",
        remaining=lambda x, _: np.exp(-x),
        half_x=lambda exponent: np.full_like(exponent, np.log(2.0)),
        g=lambda alpha, _: -np.log1p(-alpha),
    ),
    _contracting("contracting-area", 2),
    _contracting("contracting-volume", 3),
    RateModel("stretched-exponential", _weibull, _weibull_half, _weibull_g, (0.2, 1.0)),
    RateModel("avrami-erofeev", _weibull, _weibull_half, _weibull_g, (1.0, 4.0)),
    RateModel(
        "prout-tompkins",
        _autocatalytic,
        half_x=lambda exponent: np.log1p(1.0 / _germ(exponent)),
        g=_autocatalytic_g,
        exponent_range=(1.0, 10.0),
        shape="germ",
        told=_germ,
        untold=lambda germ: 1.0 - np.log(germ),
    ),
)

RATE_MODELS: dict[str, RateModel] = {model.name: model for model in _TABLE}
DEFAULT_MODELS: tuple[str, ...] = tuple(RATE_MODELS)
