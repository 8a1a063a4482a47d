"""The tone curve of a rendered file, as far as its samples tell it.

Mixtures of two forms change along a straight line in linear light, and a tone curve bends that line. All
samples of a series went through one curve. So those curves are likely under which every sample follows a
straight line, at whatever rate. A curve is described by a power: light is that power of the file's values.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.change import CHANGING, see_change, two_forms_suffice
from glowkin.findings.spoiled import spoiled_frames
from glowkin.findings.straight import Straight, straight
from glowkin.findings.unmix import believable

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.unmix import Series

_PRIOR_SD = 0.15
"""How far makers' curves are from none, as the natural logarithm of a power of linear light, one standard
deviation (common practice, no source)."""
_SHAPE_SD = 0.085
"""What one power does not describe of a curve (``benchmarks/series.py --curves``)."""
_TRIED, _FINE = np.linspace(-0.5, 0.5, 9), np.linspace(-0.5, 0.5, 401)
_BELIEVED = np.exp(2.0 * _PRIOR_SD * np.linspace(-1.0, 1.0, 13))
_FEWEST = 5
_SURE = 1e-4
"""Errors are declared, not learnt from the scatter, and a curve is more than a power: hence so small."""


@dataclass(frozen=True)
class Filed:
    """Samples as a file has them: each one's ``series``, its signals times ``scale`` (n,) being linear values
    of the file, and the ``steady`` ones, whose brightness is in that scale as the lamp's.
    """

    series: Mapping[str, Series]
    scale: Array
    steady: tuple[str, ...] = ()

    def toned(self, power: float) -> Callable[[str], Series]:
        """The series of a sample with light as this power of the file, as by ``rendered.toned``."""
        lamps = [
            (self._values(name) ** power).sum(axis=1) / self.series[name].signals.sum(axis=1)
            for name in self.steady
        ]
        rescale = np.mean(lamps, axis=0) if lamps else self.scale
        return lambda name: self._toned(name, power, rescale)

    def _values(self, name: str) -> Array:
        return np.clip(self.series[name].signals * self.scale[:, None], 1e-6, None)

    def _toned(self, name: str, power: float, rescale: Array) -> Series:
        s, values = self.series[name], self._values(name)
        slope = power * values ** (power - 1.0) * (self.scale / rescale)[:, None]
        return replace(
            s,
            signals=values**power / rescale[:, None],
            covariances=s.covariances * slope[:, :, None] * slope[:, None, :],
            stray=None if s.stray is None else s.stray * slope[:, :, None],
        )


def powers_told(filed: Filed, names: Sequence[str], of: Callable[[str, Series], Series]) -> tuple[float, ...]:
    """The likeliest power that light is of the file's linear values, and the 95 % limits of what these
    samples leave open; ``of`` a sample's series comes what the file tells of it.
    """
    telling = [name for name in names if _tells(of(name, filed.series[name]))]
    tried = [filed.toned(power) for power in np.exp(_TRIED)] if telling else []
    return _limits(likelihood([straightness([of(name, at(name)) for at in tried]) for name in telling]))


def denied(filed: Filed, name: str, of: Callable[[Series], Series]) -> bool:
    """Whether two forms do not explain a sample under any believable curve.

    That they do is never said: some curve straightens the path of a moving band too, and what samples of one
    kind tell of the curve does not count here, for moving bands would tell their own.
    """
    tried = [of(filed.toned(power)(name)) for power in _BELIEVED]
    return all(two_forms_suffice(series) is False for series in tried) or _bent(tried)


def _bent(tried: Sequence[Series]) -> bool:
    """Whether under each curve a sample's path, with the lamp's brightness and all that channels tell where
    they are clear of zero, is off every straight line by far more than errors.
    """
    from scipy.special import chdtrc

    seen = straight([believable(series) for series in tried])
    return seen.dof > 0 and bool((chdtrc(seen.dof, seen.rss) < _SURE).all())


def straightness(tried: Sequence[Series]) -> Straight:
    """Of one sample, its series at each curve tried; spoiled frames do not count."""
    index = tried[len(tried) // 2].usable()
    good = [believable(s.take(index)) for s in tried]
    found = straight(good)
    out = spoiled_frames(good[int(np.argmin(found.rss))])
    if not len(out):
        return found
    kept = np.delete(np.arange(len(good[0].times_s)), out)
    return straight([s.take(kept) for s in good])


def likelihood(told: Sequence[Straight]) -> Array:
    """Of the fine grid of logarithms of powers, not normalised; the variance of residuals is unknown."""
    from scipy.interpolate import CubicSpline

    log = -0.5 * (_FINE / _PRIOR_SD) ** 2
    dof = sum(t.dof for t in told)
    if dof > 0:
        rss = np.log(np.sum([t.rss for t in told], axis=0) + 1e-6 * dof)
        size = np.sum([t.dof * t.size for t in told], axis=0)
        log = log + CubicSpline(_TRIED, size - 0.5 * dof * rss)(_FINE)
    return np.asarray(np.exp(log - log.max()))


def _limits(density: Array) -> tuple[float, ...]:
    share = np.cumsum(density) / density.sum()
    low, middle, high = np.interp([0.025, 0.5, 0.975], share, _FINE)
    shape = 1.96 * _SHAPE_SD
    low, high = middle - np.hypot(middle - low, shape), middle + np.hypot(high - middle, shape)
    return tuple(float(v) for v in np.exp([middle, low, high]))


def _tells(series: Series) -> bool:
    """Whether a sample changes, and more than its beginning and end is known."""
    good = series.take(series.usable())
    enough = len(good.times_s) >= _FEWEST and good.signals.shape[1] > (1 if good.lamp_known else 2)
    return enough and see_change(good).verdict == CHANGING
