"""Sensitivities from a photographed chart and from lights of known spectrum, starting from the camera prior.

Free with the sensitivities: the channels' gains, the light's colour temperature, a flare that lies on every
patch, and a gradient of the light over the chart. Grey patches are not assumed to be flat; every patch may
deviate from its table. Of known lights only the ratios of the channels count, and their peaks may be off.
The file's own matrices tell what white is to the camera, which a chart in light of unknown temperature does
not; matrices that the chart contradicts do not count.
The answer is the most probable camera, and the covariance there (Laplace's approximation).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.uncertainty import Z95
from glowkin.camera.daylight import D65_KELVIN, chart_light
from glowkin.camera.grid import WAVELENGTH_NM
from glowkin.camera.maker import rows_differ
from glowkin.camera.sensitivities import Gains, Sensitivities, camera_prior, usual_gains

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from glowkin.base.uncertainty import Array
    from glowkin.camera.daylight import ChartLight

OWN = 0.16
"""Smooth deviations of each channel from the prior's cameras, as a share: a chart tells enough of them that
so wide a bound, which cameras of makers left out need, makes colours better (``benchmarks/accuracy.py``)."""
PATCH_SD = 0.02
"""Relative deviation of printed patches from their table (common practice, no source)."""
_COMMON = 0.6
"""Share of a patch's deviation, squared, that is the same in all channels."""
_FLARE, _FLARE_SD = 0.008, 0.012
_GRADIENT_SD = 0.1
_READ_SD = 0.003
_GAIN_SD = 0.08
"""What the shape of sensitivities leaves of the gains' logarithm (``benchmarks/camera_prior.py``)."""
_SCALED = 0.005
"""Probability density of gains that are none of a sensor's, over the highest of a sensor's."""
_USUAL_SCATTER = 10.0
"""How many residuals the expected deviation of patches counts for."""
_NUISANCES = 4
_FAINTEST = 1e-9
_WHITE_XYZ = np.array([0.9505, 1.0, 1.0891])
"""D65 (CIE 15)."""
_WHITE_SD = 0.02
"""Logarithm of red's and blue's answer to white over green's, by the file's matrix: makers' matrices keep it
to 0.006 (``benchmarks/generic.py``), cameras of one model differ more (common practice, no source)."""
_AGREES = 0.999
_FLAT, _MOST_STEPS = 1e-4, 200
"""The search has settled when a step lowers the sum of squares by less than this share: by far less than what
one standard deviation of anything changes it."""
UNLIKELY = 2.2
"""How unlikely a camera is that is said to be unlike the prior's; none of 26 measured ones is, whose makers
the prior did not know (``benchmarks/accuracy.py``)."""
_RANK = 12
"""Loadings kept: what a chart leaves beyond them only widens regions that hold too much already
(``benchmarks/accuracy.py``)."""


@dataclass(frozen=True, eq=False)
class ChartSeen:
    """A chart in a photograph: channel means ``rgb`` (n x 3) of its patches, their ``reflectance``
    (n x 201), and ``place`` (n x 2) from -0.5 to 0.5 along and across the chart. ``through`` (201) is what a
    filter before the lens lets through, of lights as well; ``numbers`` of the patches, from 1 along the rows;
    ``to_xyz`` the file's own matrices (3 x 3 each), one or two, as in ``Photograph``.
    """

    rgb: Array
    reflectance: Array
    place: Array
    patch_sd: float = PATCH_SD
    through: Array | float = 1.0
    numbers: tuple[int, ...] = ()
    to_xyz: tuple[Array, ...] = ()


@dataclass(frozen=True, eq=False)
class LightsSeen:
    """Known lights in a photograph: channel means ``rgb`` (m x 3), ``spectrum`` (m x 201), how far its peak
    may be off ``peak_sd_nm`` (m), and the means' relative error. ``about``: how they were come by, for the
    camera file.
    """

    rgb: Array
    spectrum: Array
    peak_sd_nm: Array
    relative_sd: float = 0.01
    about: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Calibrated:
    """What a chart told: the camera (in the photograph's own channel gains, behind the filter), the light's
    colour temperature or None with its 95 % interval, flare as a share of white, gradient, relative residuals
    of patches (n x 3) and of lights' shares (m x 3), lights' ``shifts_nm`` (m).

    ``unlikely`` is the squared distance from the prior over the number of deviations that the chart tells,
    and ``stretched`` what the prior was widened by for that (1: not at all). ``settled``: the fit converged.
    ``described``: the file's own matrices agree with the chart, and count.
    """

    sensitivities: Sensitivities
    temperature_kelvin: float | None
    temperature_interval_kelvin: tuple[float, float] | None
    flare: float
    gradient: tuple[float, float]
    residuals: Array
    light_residuals: Array
    shifts_nm: Array
    unlikely: float
    stretched: float
    settled: bool
    described: bool


def calibrate(
    chart: ChartSeen,
    light: ChartLight,
    lights: LightsSeen | None = None,
    prior: Sensitivities | None = None,
    gains: Gains | None = None,
) -> Calibrated:
    """Fit a camera to one photograph of a chart, and to known lights where there are any.

    ``gains`` are those of raw channels as sensors have them; channels whose gains are clearly others are
    taken to have been scaled.
    """
    problem = _Problem(chart, light, lights, prior or camera_prior(OWN), gains or usual_gains())
    first = _fitted(problem, problem.start)
    problem.whiten /= problem.scatter(first)
    fit = _fitted(problem, first.x)
    if problem.agrees(fit):
        problem.described = True
        fit = _fitted(problem, fit.x)
    unlikely = problem.unlikely(fit)
    stretched = float(np.sqrt(max(1.0, unlikely)))
    if stretched > 1.0:
        problem.sd[: problem.rank] = stretched
        fit = _fitted(problem, fit.x)
    return problem.answer(fit, unlikely, stretched)


@dataclass(frozen=True, eq=False)
class _Fit:
    """The most probable parameters ``x``, their covariance there, and whether the search ended by itself."""

    x: Array
    covariance: Array
    settled: bool


def _fitted(problem: _Problem, start: Array) -> _Fit:
    from scipy.optimize import least_squares

    fit = least_squares(problem.residuals, start, x_scale="jac", ftol=_FLAT, max_nfev=_MOST_STEPS)
    return _Fit(fit.x, np.linalg.inv(fit.jac.T @ fit.jac), fit.status > 0)


class _Problem:
    """Parameters: weights of the prior's loadings, 3 log gains, 4 nuisances, a peak shift a light."""

    def __init__(
        self,
        chart: ChartSeen,
        light: ChartLight,
        lights: LightsSeen | None,
        prior: Sensitivities,
        gains: Gains,
    ) -> None:
        self.chart, self.light, self.lights, self.prior, self.gains = chart, light, lights, prior, gains
        self.rank, self.described = prior.loadings.shape[2], False
        self.observed = np.log(np.maximum(chart.rgb, _FAINTEST))
        spread = chart.patch_sd**2 * (_COMMON + (1 - _COMMON) * np.eye(3)) + _READ_SD**2 * np.eye(3)
        self.whiten = np.linalg.cholesky(np.linalg.inv(spread))
        count = self.rank + 3 + _NUISANCES + (0 if lights is None else len(lights.rgb))
        self.start = np.zeros(count)
        self.start[self.rank + 3 :][:2] = light.mired, _FLARE
        self.start[self.rank : self.rank + 3] = (self.observed - self.patches(self.start)).mean(axis=0)
        self.expected = self.start.copy()
        self.sd = np.ones(count)
        self.sd[self.rank : self.rank + 3 + _NUISANCES] = (
            *[10.0] * 3,
            light.mired_sd,
            _FLARE_SD,
            *[_GRADIENT_SD] * 2,
        )

    def camera(self, q: Array) -> Array:
        """Sensitivities (3 x 201), gains apart, never below nothing."""
        return np.asarray(np.maximum(self.prior.mean + self.prior.loadings @ q[: self.rank], 0.0))

    def patches(self, q: Array) -> Array:
        """Logarithm of the channels' answers to the patches, n x 3."""
        gain, (mired, flare, *gradient) = q[self.rank : self.rank + 3], q[self.rank + 3 :][:_NUISANCES]
        lit = (self.chart.reflectance + flare) * self.light.spectrum(mired) * self.chart.through
        shade = 1.0 + self.chart.place @ gradient
        return np.asarray(np.log(np.maximum(lit @ self.camera(q).T * shade[:, None], _FAINTEST)) + gain)

    def ratios(self, q: Array, lights: LightsSeen) -> Array:
        """What the known lights' log channels differ from their mean and from the model's, m x 3."""
        places = WAVELENGTH_NM - (q[self.rank + 3 + _NUISANCES :] * lights.peak_sd_nm)[:, None]
        spectra = np.stack([
            np.interp(at, WAVELENGTH_NM, s) for at, s in zip(places, lights.spectrum, strict=True)
        ])  # fmt: skip
        model = (spectra * self.chart.through) @ (
            self.camera(q) * np.exp(q[self.rank : self.rank + 3])[:, None]
        ).T
        return _shares_differ(model, lights.rgb) / lights.relative_sd

    def misfit(self, q: Array) -> Array:
        """Whitened misfit of the patches, 3 n."""
        return np.asarray(((self.observed - self.patches(q)) @ self.whiten).ravel())

    def unusual(self, q: Array) -> Array:
        """How far the gains are from those of sensors (2), or nothing more where they were scaled."""
        sums = np.log(np.maximum(self.camera(q).sum(axis=1), _FAINTEST)) + q[self.rank : self.rank + 3]
        usual = self.gains.mean + self.gains.slopes @ q[: self.gains.slopes.shape[1]]
        away = (sums[[0, 2]] - sums[1] - usual) / _GAIN_SD
        squared = float(away @ away) + 1e-9
        told = -2.0 * np.log((np.exp(-0.5 * squared) + _SCALED) / (1.0 + _SCALED))
        return np.asarray(away * np.sqrt(told / squared))

    def description(self, q: Array) -> Array:
        """How far the file's own matrices are from this camera's, in standard deviations: see ``maker``."""
        shape = [away.ravel() for away in rows_differ(self.camera(q), self.chart.to_xyz)]
        white = np.log(np.maximum(self.camera(q) @ _daylight(), _FAINTEST)) + q[self.rank : self.rank + 3]
        told = np.log(np.maximum(np.linalg.solve(self.chart.to_xyz[-1], _WHITE_XYZ), _FAINTEST))
        away = (white - told)[[0, 2]] - (white - told)[1]
        return np.concatenate([*shape, away / _WHITE_SD])

    def agrees(self, fit: _Fit) -> bool:
        """Whether the file's matrices may be those of a camera that the chart alone tells of."""
        from scipy.stats import chi2

        if not self.chart.to_xyz:
            return False
        away, moved = self.description(fit.x), self._moved(self.description, fit)
        squared = away @ np.linalg.solve(np.eye(away.size) + moved.T @ moved, away)
        return bool(squared < chi2.ppf(_AGREES, away.size))

    def _moved(self, function: Callable[[Array], Array], fit: _Fit) -> Array:
        """What one standard deviation of each parameter of a fit changes of a function, a row for each."""
        here, step = function(fit.x), 1e-4
        root = _root(fit.covariance) * step
        return np.array([function(fit.x + column) - here for column in root.T]) / step

    def scatter(self, fit: _Fit) -> float:
        """The patches' deviations over those expected, from a fit's misfit and from what is usual."""
        misfit, moved = self.misfit(fit.x), self._moved(self.misfit, fit)
        free = misfit.size - min(float(np.square(moved).sum()), 0.8 * misfit.size)
        return float(np.sqrt((misfit @ misfit + _USUAL_SCATTER) / (free + _USUAL_SCATTER)))

    def unlikely(self, fit: _Fit) -> float:
        """The camera's squared distance from the prior, over how many of its deviations are told (MacKay,
        Neural Computation 4 (1992) 415).
        """
        told = self.rank - np.trace(fit.covariance[: self.rank, : self.rank])
        return float(np.square(fit.x[: self.rank]).sum() / max(told, 1.0))

    def residuals(self, q: Array) -> Array:
        """Whitened misfit, then the prior's."""
        parts = [self.misfit(q), (q - self.expected) / self.sd, self.unusual(q)]
        if self.lights is not None:
            parts.append(self.ratios(q, self.lights).ravel())
        if self.described:
            parts.append(self.description(q))
        return np.concatenate(parts)

    def answer(self, fit: _Fit, unlikely: float, stretched: float) -> Calibrated:
        """The camera in the photograph's own gains; gains' errors go into its loadings."""
        q, r = fit.x, self.rank
        camera, gain = self.camera(q), np.exp(q[r : r + 3])
        root = _root(fit.covariance[: r + 3, : r + 3])
        shape = self.prior.loadings @ root[:r] + camera[:, :, None] * root[r:][:, None, :]
        through = self.chart.through * np.ones(WAVELENGTH_NM.size)
        fitted = Sensitivities(camera * gain[:, None], shape * gain[:, None, None]).times(through)
        mired, flare, gx, gy = q[r + 3 :][:_NUISANCES]
        reach = Z95 * float(np.sqrt(fit.covariance[r + 3, r + 3]))
        free, known = self.light.free, self.lights
        return Calibrated(
            _relative(fitted).reduced(_RANK),
            1e6 / mired if free else None,
            (1e6 / (mired + reach), 1e6 / (mired - reach)) if free else None,
            float(flare),
            (float(gx), float(gy)),
            np.expm1(self.observed - self.patches(q)),
            np.zeros((0, 3)) if known is None else self.ratios(q, known) * known.relative_sd,
            np.zeros(0) if known is None else q[r + 3 + _NUISANCES :] * known.peak_sd_nm,
            unlikely,
            stretched,
            fit.settled,
            self.described,
        )


@lru_cache(maxsize=1)
def _daylight() -> Array:
    """D65's spectrum (201)."""
    return chart_light("D65").spectrum(1e6 / D65_KELVIN)


def _root(covariance: Array) -> Array:
    """A square root (n x n) of a covariance."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.clip(values, 0.0, None)))


def _shares_differ(model: Array, seen: Array) -> Array:
    """Differences of channel shares, relative to the larger of the share and a hundredth."""
    a, b = (v / v.sum(axis=1, keepdims=True) for v in (model, seen))
    return np.asarray((a - b) / np.maximum(b, 0.01))


def _relative(camera: Sensitivities) -> Sensitivities:
    """Scaled so that green has unit sum; loadings lose what only scales all channels together."""
    scale = camera.mean[1].sum()
    mean, loadings = camera.mean / scale, camera.loadings / scale
    brighter = loadings.sum(axis=(0, 1)) / mean.sum()
    return Sensitivities(mean, loadings - mean[:, :, None] * brighter)
