"""What a camera answers to every spectrum of the prior, and how a measured answer is read backwards.

Each spectrum is seen once, by a camera drawn from what is known of it (and, for a rendered file, by a drawn
development): a point in the space of channel shares. A measured answer is read by local linear regression
over its neighbours there: those by place, or, where noise reaches farther than they, those whose rays pass
it within its noise. The part of the neighbours' residuals that follows the drawn camera is shared by all
samples it photographs; each sample's own is what they scatter at the most probable camera, or, where none is
known (rendered files, clipped channels), what is left of their scatter.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.uncertainty import Z95
from glowkin.camera.rays import FLOOR, NEIGHBOURS, Rays
from glowkin.camera.weighted import fit_95, location, quantiles, regress, squared, with_rare

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission_prior import EmissionPrior
    from glowkin.camera.sensitivities import Sensitivities

VERSION = "3"
"""To be raised with every change of what is kept of a camera: caches are keyed by it."""
_NEAREST = 25
_STEP, _NARROWEST = 1e-4, 1e-3
"""Step of differences, relative to the highest channel; and the narrowest kernel by place."""
_NOISY = 3.0
"""So many standard deviations of noise reach farther than the kernel: the answer is read along rays."""
_CHUNK = 256
_MOST_TAKEN, _NEGLIGIBLE = 0.5, 1e-4
_LEAST_SD = 4e-4
"""Standard deviation of u'v' at least: no prior knows colours along the spectrum locus better."""
_THIN, _WIDER = (0.3, 0.5), 1.7
"""From where on the prior's spectra lie thin (as ``Read.apart``), and by what covariances are widened there:
else it holds too few narrow bands and lines (``benchmarks/accuracy.py --emitters hard``)."""
_RED = (0.42, 0.45)
"""From what u' on red is deep: a camera may answer 620 and 690 nm alike, each camera in its own way."""
_NARROWER = 0.7
"""By what covariances are narrowed where no ions with sharp lines lie near: the prior's shapes differ by more
than those of measured emissions (``benchmarks/accuracy.py``)."""
_SHAPE_SD = np.array([0.006, 0.12])
"""Error of centre and width, relative, by shapes that the prior has not (``benchmarks/accuracy.py``)."""
_ONE_BAND = 0.25
"""A single band is named where at least this share of the neighbours is one."""


def shares(rgb: Array) -> Array:
    """Cube roots of the channels' shares, (..., 3): near to relative terms, but tame close to 0."""
    positive = np.clip(rgb, 0.0, None)
    total = np.maximum(positive.sum(axis=-1, keepdims=True), 1e-300)
    return np.asarray(np.cbrt(positive / total + FLOOR))


@dataclass(frozen=True, eq=False)
class Read:
    """n answers read: ``uv_prime`` (n x 2), its ``total`` covariance (n x 2 x 2), the ``shared`` loadings
    on the drawn camera (n x 2 x r), the ``jacobian`` of u'v' by the channel means (n x 2 x 3), relative
    ``luminance`` (n), and of single bands centre and width with 95 % bounds (n x 2 x 3: value, low, high;
    NaN where none explains the answer). ``apart`` (n): distance to the neighbours, over what 99 % of the
    prior's own spectra have; well above 1, nothing known looks so.
    """

    uv_prime: Array
    total: Array
    shared: Array
    jacobian: Array
    luminance: Array
    band: Array
    apart: Array


@dataclass(frozen=True, eq=False)
class Neighbours:
    """Points ``near`` n answers (n x k), their ``weight``, the way there ``away`` (n x k x 3) and the part
    of it to be walked ``back``, which is no noise; the ``level`` (n x k) they are met at; each answer's
    ``size`` (n); the noise's covariance that the places leave ``untold`` (n x 3 x 3), and the derivative of
    the way ``by_channels`` (n x 3 x 3).
    """

    near: NDArray[np.intp]
    weight: Array
    away: Array
    back: Array
    level: Array
    size: Array
    untold: Array
    by_channels: Array

    def with_rows(self, rows: NDArray[np.bool_], other: Neighbours) -> Neighbours:
        """These, but another's in some of the rows."""
        return Neighbours(
            *(_replaced(getattr(self, f.name), rows, getattr(other, f.name)) for f in fields(self))
        )


def neighbours_of(
    near: NDArray[np.intp],
    away: Array,
    level: Array,
    size: Array,
    noise: Array,
    kernel: Array,
    across: Array,
    by_channels: Array,
) -> Neighbours:
    """Neighbours weighed by covariances of ``noise`` and ``kernel`` (n x 3 x 3 each); ``across`` takes from
    the way what tells nothing (n x 3 x 3).
    """
    K = np.linalg.inv(noise + kernel)
    d2 = squared(away, K)
    w = np.exp(-0.5 * (d2 - d2.min(axis=1, keepdims=True)))
    w /= w.sum(axis=1, keepdims=True)
    # Of the way to a neighbour only the part that is no noise of the measurement is walked back.
    back = away @ (K @ kernel)
    # What of the noise the neighbours' places do not tell: the covariance of e, given e plus the way.
    untold = across @ (noise - noise @ K @ noise) @ across.transpose(0, 2, 1)
    return Neighbours(near, w, away, back, level, size, untold, by_channels)


@dataclass(frozen=True, eq=False)
class Answers:
    """N points: ``at`` (N x 3, shares), the ``drawn`` camera (N x r, standard normals), and of their spectra
    ``uv_prime`` (N x 2), the logarithm of luminance over the channels' sum ``log_luminance`` (N), and
    ``band`` (N x 2); where the camera is known, ``likely`` (N x 3) are the same spectra by the most probable
    one, and ``ions`` (N) tells which are of ions with sharp lines.
    """

    at: Array
    drawn: Array
    uv_prime: Array
    log_luminance: Array
    band: Array
    likely: Array | None = None
    ions: NDArray[np.bool_] | None = None

    @cached_property
    def _tree(self) -> Any:
        from scipy.spatial import cKDTree

        return cKDTree(self.at)

    def read(self, rgb: Array, covariance: Array) -> Read:
        """Channel means (n x 3, finite) with covariance (n x 3 x 3) to colours."""
        parts = [self._read(rgb[s], covariance[s]) for s in _chunks(len(rgb))]
        return Read(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Read)))

    def _read(self, rgb: Array, covariance: Array) -> Read:
        seen = self.neighbours(rgb, covariance)
        w, near, away = seen.weight, seen.near, seen.away
        told, slope, moved, mean = self._walked(seen)
        _, loads = regress(w, away, self.drawn[near], told)
        shared, slope, apart = loads[:, :2], slope[:, :2], self._apart(rgb)
        total, narrowed = self._scattered(seen, moved, mean, slope)
        if self.likely is not None:
            total = _widened(total, self._probable(rgb, covariance, narrowed, shared), apart, mean[:, 0])
        return Read(
            mean[:, :2],
            total,
            shared,
            slope @ seen.by_channels,
            np.exp(self.log_luminance_told(w, moved[..., 2])) * seen.size,
            self._band(w, near, away, seen.back),
            apart,
        )

    def _probable(self, rgb: Array, covariance: Array, narrowed: Array, shared: Array) -> Array:
        """The covariance of a camera that is known: at the most probable camera, and by its error."""
        if not self.drawn.shape[1]:
            return narrowed
        return np.asarray(self._by_likely.own(rgb, covariance) + shared @ shared.transpose(0, 2, 1))

    def allowed(self, rgb: Array, C: Array, allowance: Array) -> Array:
        """Covariance (n x 2 x 2) of u'v' from one step of each kind of light (n x 3 x r) up and one down.

        A step down that would take most of the light away is shortened, and its effect scaled up.
        """
        total = np.clip(rgb, 0.0, None).sum(axis=1)
        size = np.abs(allowance).sum(axis=1) / np.maximum(total, 1e-300)[:, None]
        kinds = np.flatnonzero(size.max(axis=0, initial=0.0) > _NEGLIGIBLE)
        if not len(kinds):
            return np.zeros((len(rgb), 2, 2))
        down = np.minimum(1.0, _MOST_TAKEN / np.maximum(size[:, kinds], 1e-9)).T
        part = np.concatenate([np.zeros((1, len(rgb))), np.ones_like(down), -down])
        light = allowance[:, :, kinds].transpose(2, 0, 1)
        added = part[:, :, None] * np.concatenate([light[:1], light, light])
        found = self.colours((rgb + added).reshape(-1, 3), np.tile(C, (len(part), 1, 1)))
        here, *moved = found.reshape(len(part), len(rgb), 2)
        step = (np.array(moved) - here) / np.abs(part[1:])[:, :, None]
        return np.asarray(0.5 * np.einsum("kni,knj->nij", step, step))

    def colours(self, rgb: Array, covariance: Array) -> Array:
        """U'v' (n x 2) of channel means alone."""
        parts = [self._walked(self.neighbours(rgb[s], covariance[s]))[3][:, :2] for s in _chunks(len(rgb))]
        return np.concatenate(parts)

    def own(self, rgb: Array, covariance: Array) -> Array:
        """Covariance (n x 2 x 2) of the colours of channel means by these points alone, narrowed."""
        seen = self.neighbours(rgb, covariance)
        _, slope, moved, mean = self._walked(seen)
        return self._scattered(seen, moved, mean, slope[:, :2])[1]

    def _walked(self, seen: Neighbours) -> tuple[Array, Array, Array, Array]:
        """What the neighbours tell (n x k x 3: u', v', log luminance), its slopes by the way, what they tell
        walked back, and where that crowds (n x 3).
        """
        log_luminance = self.log_luminance[seen.near] + np.log(seen.level)
        told = np.concatenate([self.uv_prime[seen.near], log_luminance[..., None]], axis=2)
        # Not at one camera: what differs with the camera drawn may well be told by the way.
        slope, _ = regress(seen.weight, seen.away, self.drawn[seen.near][..., :0], told)
        moved = told - seen.back @ slope.transpose(0, 2, 1)
        return told, slope, moved, location(seen.weight, moved)

    def _scattered(self, seen: Neighbours, moved: Array, mean: Array, slope: Array) -> tuple[Array, Array]:
        """Covariance by the neighbours' residuals, and by the noise that their places leave untold; and the
        same narrowed where no ions are among them.
        """
        rest, w, there = (moved - mean[:, None])[..., :2], seen.weight, np.zeros(len(mean))
        if self.ions is not None:
            w, there = with_rare(w, self.ions[seen.near])
        total = (rest * w[..., None]).transpose(0, 2, 1) @ rest + 1e-10 * np.eye(2)
        total = total * fit_95(w, rest, total)
        untold = slope @ seen.untold @ slope.transpose(0, 2, 1)
        scale = _NARROWER + (1.0 - _NARROWER) * there[:, None, None]
        whole, narrowed = (
            part + self.least_variance(part)[:, None, None] * np.eye(2) + untold
            for part in (total, scale * total)
        )
        return np.asarray(whole), np.asarray(narrowed)

    @cached_property
    def _by_likely(self) -> Answers:
        """The points by the most probable camera."""
        assert self.likely is not None  # noqa: S101 - asked for only where there is one
        bare = self.drawn[:, :0]
        return Answers(self.likely, bare, self.uv_prime, self.log_luminance, self.band, ions=self.ions)

    def neighbours(self, rgb: Array, covariance: Array) -> Neighbours:
        """The points that answer like channel means (n x 3), covariance n x 3 x 3, at whatever level."""
        y, by_channels, C = self.placed(rgb, covariance)
        near, width = self.nearest(y)
        seen = self.around(y, near, width, C, by_channels, rgb)
        # By place a channel below zero would count as hardly any light, and not as what the noise allows.
        noisy = (_NOISY * self._reach(rgb, covariance) > width) | (rgb < 0.0).any(axis=1)
        if not noisy.any():
            return seen
        return seen.with_rows(noisy, self._along_rays(rgb[noisy], covariance[noisy]))

    def placed(self, rgb: Array, covariance: Array) -> tuple[Array, Array, Array]:
        """Where answers lie (n x 3), its derivative by the channels and its covariance (n x 3 x 3)."""
        step = _STEP * np.maximum(rgb.max(axis=1), 1e-300)[:, None, None] * np.eye(3)
        rise = self.place(rgb[:, None] + step) - self.place(rgb[:, None] - step)
        by_channels = (rise / (2.0 * step.max(axis=2, keepdims=True))).transpose(0, 2, 1)
        return self.place(rgb), by_channels, by_channels @ covariance @ by_channels.transpose(0, 2, 1)

    def nearest(self, y: Array) -> tuple[NDArray[np.intp], Array]:
        """The points nearest to places (n x 3), n x k, and the width of a kernel over them (n)."""
        distance, near = self._tree.query(y, NEIGHBOURS)
        return near, np.maximum(distance[:, -1] / 2.0, _NARROWEST)

    def around(
        self, y: Array, near: NDArray[np.intp], width: Array, C: Array, by_channels: Array, rgb: Array
    ) -> Neighbours:
        """Points around places, met where they are, by a kernel of the same width in every direction."""
        every = np.broadcast_to(np.eye(3), C.shape)
        H = np.square(width)[:, None, None] * np.eye(3)
        size = np.maximum(np.clip(rgb, 0.0, None).sum(axis=1), 1e-300)
        return neighbours_of(
            near, self.at[near] - y[:, None], np.ones(near.shape), size, C, H, every, by_channels
        )

    def _reach(self, rgb: Array, covariance: Array) -> Array:
        """How far one standard deviation carries the place of channel means, at most (n)."""
        variance, way = np.linalg.eigh(covariance)
        axes = (way * np.sqrt(np.maximum(variance, 0.0))[:, None]).transpose(0, 2, 1)
        across = self.place(rgb[:, None] + axes) - self.place(rgb[:, None] - axes)
        return np.asarray(np.linalg.norm(across, axis=2).max(axis=1) / 2.0)

    def _along_rays(self, rgb: Array, covariance: Array) -> Neighbours:
        """The points whose rays pass channel means (n x 3) within their noise."""
        size = np.maximum(np.clip(rgb, 0.0, None).sum(axis=1), 1e-300)[:, None]
        y = rgb / size
        # More or less of the sample's own light is no error of its colour.
        level_kept = (np.eye(3) - y[:, :, None] * (y > 0)[:, None]) / size[:, :, None]
        C = level_kept @ covariance @ level_kept.transpose(0, 2, 1)
        H = self._rays.kernel(y, C)
        K = np.linalg.inv(C + H)
        near = self._rays.first_within(y, K)
        away, level = self._rays.ways(y, K, near)
        # Nor does the way along the ray tell anything.
        Ky = (y[:, None] @ K)[:, 0]
        across = np.eye(3) - y[:, :, None] * Ky[:, None] / (Ky * y).sum(axis=1)[:, None, None]
        return neighbours_of(near, away, level, size[:, 0], C, H, across, across / size[:, :, None])

    def place(self, rgb: Array) -> Array:
        """Where channel means (..., 3) lie among the points."""
        return shares(rgb)

    def log_luminance_told(self, w: Array, neighbours: Array) -> Array:
        """What the neighbours' luminances (n x k), by weight, say (n): their mean."""
        return np.asarray((w * neighbours).sum(axis=1))

    def least_variance(self, total: Array) -> Array:
        """Variance of u'v' in any direction at least (n), for covariances by the points (n x 2 x 2)."""
        return np.full(len(total), _LEAST_SD**2)

    @cached_property
    def _rays(self) -> Rays:
        return Rays(np.maximum(self.at**3 - FLOOR, 0.0).astype(np.float32))

    def _apart(self, rgb: Array) -> Array:
        """Distance to the nearest points in cube roots of shares, over what is usual among the points."""
        return np.asarray(self._tree.query(self.place(rgb), _NEAREST)[0].mean(axis=1) / self._usual_spacing)

    @cached_property
    def _usual_spacing(self) -> float:
        distance = self._tree.query(self.at[::97], _NEAREST)[0]
        return float(np.quantile(distance.mean(axis=1), 0.99))

    def _band(self, w: Array, near: NDArray[np.intp], away: Array, back: Array) -> Array:
        """Centre and width of the single bands among the neighbours: median and 95 % bounds."""
        band = self.band[near]
        single = np.isfinite(band[..., 0])
        share = np.einsum("nk,nk->n", w, single)
        w = np.where(single, w, 0.0) / np.maximum(share, 1e-12)[:, None]
        value = np.log(np.where(single[..., None], band, 1.0))
        slope, _ = regress(w, away, np.zeros((*w.shape, 0)), value)
        moved = value - back @ slope.transpose(0, 2, 1)
        out = np.stack([quantiles(moved[..., t], w) for t in range(2)], axis=1)
        away_from = np.hypot(out[..., 1:] - out[..., :1], Z95 * _SHAPE_SD[:, None])
        out = np.exp(np.concatenate([out[..., :1], out[..., :1] + away_from * (-1.0, 1.0)], axis=2))
        return np.where((share >= _ONE_BAND)[:, None, None], out, np.nan)


def seen_by(
    prior: EmissionPrior, camera: Sensitivities, observer: int, seed: int = 0, *, calibrated: bool = True
) -> Answers:
    """The answers of one camera, drawn anew for each spectrum from what is known of it.

    What is known of one that is not ``calibrated`` is too little for its most probable self to tell anything.
    """
    drawn_so = answers_of(prior, *channels_seen(prior, camera, seed), observer)
    if not calibrated:
        return drawn_so
    probable = prior.spectra @ camera.mean.T.astype(np.float32)
    return replace(drawn_so, likely=shares(probable.astype(float)), ions=prior.ions)


def channels_seen(prior: EmissionPrior, camera: Sensitivities, seed: int) -> tuple[Array, Array]:
    """Channels (N x 3) of the prior's spectra by cameras drawn, and what was drawn (N x r)."""
    rank, n = camera.loadings.shape[2], len(prior.spectra)
    drawn = np.random.default_rng(seed).standard_normal((n, rank))
    rgb = np.empty((n, 3))
    for channel in range(3):
        both = np.concatenate([camera.mean[channel][:, None], camera.loadings[channel]], axis=1)
        seen = prior.spectra @ both.astype(np.float32)
        rgb[:, channel] = seen[:, 0] + (seen[:, 1:] * drawn).sum(axis=1)
    return rgb, drawn


def answers_of(prior: EmissionPrior, rgb: Array, drawn: Array, observer: int) -> Answers:
    """The prior's spectra with what was seen of them: channels (N x 3) and the drawn camera (N x r)."""
    log_luminance = -np.log(np.maximum(np.clip(rgb, 0.0, None).sum(axis=1), 1e-12))
    return Answers(shares(rgb), drawn, prior.uv_prime[observer], log_luminance, prior.band)


def _widened(total: Array, probable: Array, apart: Array, u_prime: Array) -> Array:
    """Covariances at the most ``probable`` camera, but in deep red all that the drawn cameras scatter, and
    more than that where the prior's spectra lie thin.
    """
    thin = np.clip((apart - _THIN[0]) / (_THIN[1] - _THIN[0]), 0.0, 1.0)[:, None, None]
    red = np.clip((u_prime - _RED[0]) / (_RED[1] - _RED[0]), 0.0, 1.0)[:, None, None]
    return np.asarray((1.0 - thin) * ((1.0 - red) * probable + red * total) + thin * _WIDER * total)


def _replaced(mine: NDArray[Any], rows: NDArray[np.bool_], other: NDArray[Any]) -> NDArray[Any]:
    mine[rows] = other
    return mine


def _chunks(n: int) -> Iterator[slice]:
    return (slice(i, i + _CHUNK) for i in range(0, max(n, 1), _CHUNK))
