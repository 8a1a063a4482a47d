"""Sensitivities from a photographed chart and from lights of known spectrum, starting from the camera prior.

Free with the sensitivities: the channels' gains, the light's colour temperature, a flare that lies on every
patch, and a gradient of the light over the chart. Grey patches are not assumed to be flat; every patch may
deviate from its table. Of known lights only the ratios of the channels count, and their peaks may be off.
The answer is the most probable camera, and the covariance there (Laplace's approximation).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.grid import WAVELENGTH_NM
from glowkin.camera.sensitivities import Gains, Sensitivities, camera_prior, usual_gains

if TYPE_CHECKING:
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
_RANK = 12
"""Loadings kept: what a chart leaves beyond them only widens regions that hold too much already
(``benchmarks/accuracy.py``)."""


@dataclass(frozen=True, eq=False)
class ChartSeen:
    """A chart in a photograph: channel means ``rgb`` (n x 3) of its patches, their ``reflectance``
    (n x 201), and ``place`` (n x 2) from -0.5 to 0.5 along and across the chart.
    """

    rgb: Array
    reflectance: Array
    place: Array
    patch_sd: float = PATCH_SD


@dataclass(frozen=True, eq=False)
class LightsSeen:
    """Known lights in a photograph: channel means ``rgb`` (m x 3), ``spectrum`` (m x 201), how far its peak
    may be off ``peak_sd_nm`` (m), and the means' relative error.
    """

    rgb: Array
    spectrum: Array
    peak_sd_nm: Array
    relative_sd: float = 0.01


@dataclass(frozen=True, eq=False)
class Calibrated:
    """What a chart told: the camera (in the photograph's own channel gains), the light's colour temperature
    or None, flare as a share of white, gradient, relative residuals (n x 3), and how ``unlikely`` the camera
    is under the prior: squared distance over its degrees of freedom.
    """

    sensitivities: Sensitivities
    temperature_kelvin: float | None
    flare: float
    gradient: tuple[float, float]
    residuals: Array
    unlikely: float


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
    first, covariance = _fitted(problem, problem.start)
    problem.whiten /= problem.scatter(first, covariance)
    return problem.answer(*_fitted(problem, first))


def _fitted(problem: _Problem, start: Array) -> tuple[Array, Array]:
    """The most probable parameters and their covariance."""
    from scipy.optimize import least_squares

    fit = least_squares(problem.residuals, start, x_scale="jac", max_nfev=60)
    return fit.x, np.linalg.inv(fit.jac.T @ fit.jac)


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
        self.rank = prior.loadings.shape[2]
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
        lit = (self.chart.reflectance + flare) * self.light.spectrum(mired)
        shade = 1.0 + self.chart.place @ gradient
        return np.asarray(np.log(np.maximum(lit @ self.camera(q).T * shade[:, None], _FAINTEST)) + gain)

    def ratios(self, q: Array, lights: LightsSeen) -> Array:
        """What the known lights' log channels differ from their mean and from the model's, m x 3."""
        places = WAVELENGTH_NM - (q[self.rank + 3 + _NUISANCES :] * lights.peak_sd_nm)[:, None]
        spectra = np.stack([
            np.interp(at, WAVELENGTH_NM, s) for at, s in zip(places, lights.spectrum, strict=True)
        ])  # fmt: skip
        model = spectra @ (self.camera(q) * np.exp(q[self.rank : self.rank + 3])[:, None]).T
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

    def scatter(self, q: Array, covariance: Array) -> float:
        """The patches' deviations over those expected, from a fit's misfit and from what is usual."""
        misfit, step = self.misfit(q), 1e-4
        values, vectors = np.linalg.eigh(covariance)
        root = vectors * np.sqrt(np.clip(values, 0.0, None)) * step
        moved = np.array([self.misfit(q + column) - misfit for column in root.T]) / step
        free = misfit.size - min(float(np.square(moved).sum()), 0.8 * misfit.size)
        return float(np.sqrt((misfit @ misfit + _USUAL_SCATTER) / (free + _USUAL_SCATTER)))

    def residuals(self, q: Array) -> Array:
        """Whitened misfit, then the prior's."""
        parts = [self.misfit(q), (q - self.expected) / self.sd, self.unusual(q)]
        if self.lights is not None:
            parts.append(self.ratios(q, self.lights).ravel())
        return np.concatenate(parts)

    def answer(self, q: Array, covariance: Array) -> Calibrated:
        """The camera in the photograph's own gains; gains' errors go into its loadings."""
        camera, gain = self.camera(q), np.exp(q[self.rank : self.rank + 3])
        values, vectors = np.linalg.eigh(covariance[: self.rank + 3, : self.rank + 3])
        root = vectors * np.sqrt(np.clip(values, 0.0, None))
        shape = self.prior.loadings @ root[: self.rank] + camera[:, :, None] * root[self.rank :][:, None, :]
        fitted = Sensitivities(camera * gain[:, None], shape * gain[:, None, None])
        mired, flare, gx, gy = q[self.rank + 3 :][:_NUISANCES]
        misfit = np.expm1(self.observed - self.patches(q))
        unlikely = float(np.square(q[: self.rank]).sum() / 12)
        kelvin = 1e6 / mired if self.light.free else None
        return Calibrated(
            _relative(fitted).reduced(_RANK), kelvin, float(flare), (float(gx), float(gy)), misfit, unlikely
        )


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
