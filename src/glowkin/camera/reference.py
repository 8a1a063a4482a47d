"""A glow of known emission in the frame: it checks the colour, and re-centres the camera within its error.

Of a known camera (sensitivities with loadings on standard normals) the mean is moved and the loadings are
narrowed by Gauss-Newton steps on the channels that the reference shows, its own spectrum's error among the
unknowns. The errors left are written in the same standard normals as before, so that colours in photographs
with and without a reference still cancel what they have in common. Of a rendered file, developments are drawn
anew: those whose view of the reference is nearest to the one seen, moved the rest of the way by regression.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError
from glowkin.camera.answers import seen_by, shares
from glowkin.camera.development import develop, developed, draw_development
from glowkin.camera.emission_prior import emission_prior
from glowkin.camera.glows import known_glow
from glowkin.camera.sensitivities import Sensitivities

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission import Camera
    from glowkin.camera.glows import Glow

OFF = 0.003
"""A reference as far off as this by chance only is taken for off; the camera is not moved then."""
_ALLOWED = 11.618285980628054
"""Squared distance that a colour exceeds with that chance."""
_LEVEL_SD = 0.01
"""What a channel's mean may be off beside its noise, relative: glass, filling, lens (common practice, no
source)."""
_DRAWS, _NEAREST, _FEW = 8000, 500, 20
_STEPS = 5
STRETCHES = (1.0, 1.5, 2.0)
"""What a camera's error is stretched by, at most, before a reference counts as off."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A reference in the photograph: its ``sample``, the ``glow`` it is, and its channels (3) with covariance
    (3 x 3), stray light included.
    """

    sample: str
    glow: Glow
    rgb: Array
    covariance: Array


@dataclass(frozen=True, eq=False)
class Checked:
    """A reference beside what the camera showed before: inferred colour ``uv_prime`` (2), ``deviation`` from
    the known one, how large it may be, the ``chance`` of channels as far off as these, and by how much the
    camera's error was ``stretched`` for that (1: as it is).
    """

    seen: Seen
    uv_prime: Array
    deviation: float
    allowed: float
    chance: float
    stretched: float = 1.0

    @property
    def away(self) -> tuple[float, float]:
        """The deviation and how large it may be."""
        return self.deviation, self.allowed

    @property
    def off(self) -> bool:
        """Whether the reference is not what it should be."""
        return self.chance < OFF or self.deviation > self.allowed


def references_seen(
    references: Sequence[tuple[str, str]], names: Sequence[str], rgb: Array, covariance: Array, path: str
) -> list[Seen]:
    """The references among the samples of a photograph (n x 3, n x 3 x 3) that show any light.

    Raises ``CannotMeasureError`` where a sample of that name is not in it.
    """
    out = []
    for name, kind in references:
        if name not in names:
            there = ", ".join(names) or "none"
            raise CannotMeasureError(f"{path}: --reference {name}: no such sample; there are {there}")
        i = list(names).index(name)
        if np.isfinite(rgb[i]).all() and np.isfinite(covariance[i]).all() and (rgb[i] > 0).any():
            out.append(Seen(name, known_glow(kind), rgb[i], covariance[i]))
    return out


def checked(camera: Camera, seen: Sequence[Seen], observer: int) -> list[Checked]:
    """Each reference against its known colour."""
    out = []
    for one in seen:
        found = camera.infer(one.rgb[None], one.covariance[None], observer).uncertain(0)
        chance, stretched = _chance(camera, one)
        deviation, allowed = against_known(one.glow, found.value, found.covariance, observer)
        out.append(Checked(one, found.value, deviation, stretched * allowed, chance, stretched))
    return out


def against_known(glow: Glow, uv_prime: Array, covariance: Array, observer: int) -> tuple[float, float]:
    """How far an inferred colour (2, with its covariance) is from the known one, and how far it may be."""
    known, known_C = glow.uv_prime[observer]
    away, C = uv_prime - known, covariance + known_C + 1e-12 * np.eye(2)
    deviation, d2 = float(np.hypot(*away)), float(away @ np.linalg.solve(C, away))
    allowed = deviation * np.sqrt(_ALLOWED / d2) if d2 > 0 else np.sqrt(_ALLOWED * np.trace(C))
    return deviation, float(allowed)


def recentred(
    camera: Camera, seen: Sequence[Seen], observer: int, photograph: str, stretched: float = 1.0
) -> Camera:
    """The camera as it is when these references are what they are said to be; itself where there are none.

    Its error before is ``stretched`` where they show that it is unlike what was known of it.
    ``photograph`` names the source of errors that only samples of this photograph share.
    """
    if not seen:
        return camera
    known = camera.sensitivities
    if known is None:
        return _developed_anew(camera, seen, observer, photograph)
    moved = _conditioned(_stretched(known, stretched), seen)
    sources = [(f"{camera.shared_source}, camera", known.loadings.shape[2])]
    sources += [(_spectrum_source(one, seen), len(one.glow.modes)) for one in seen]
    sources += [(f"reference in {photograph}", 2 * len(seen))]
    answers = seen_by(emission_prior(), moved, observer, calibrated=camera.calibrated)
    return camera.with_answers(moved, {observer: answers}, tuple(sources))


def _spectrum_source(one: Seen, seen: Sequence[Seen]) -> str:
    """What the error of a reference's spectrum is named by: the same in all photographs."""
    several = sum(other.glow.name == one.glow.name for other in seen) > 1
    return f"reference {one.glow.name}" + (f", {one.sample}" if several else "")


@dataclass(frozen=True, eq=False)
class _Fit:
    """The most probable ``x`` (camera, spectra; standard normal before), the derivative ``H`` (2 m x n),
    the ``gain`` H'(HH' + R)^-1, the noise ``R``, and the squared ``distance`` of the seen from the expected.
    """

    x: Array
    H: Array
    gain: Array
    R: Array
    distance: float


def _fitted(known: Sensitivities, seen: Sequence[Seen]) -> _Fit:
    """Gauss-Newton steps for the references seen by this camera."""
    y, R = np.concatenate([_place(one.rgb) for one in seen]), _noise(seen)
    x = np.zeros(known.loadings.shape[2] + sum(len(one.glow.modes) for one in seen))
    for _ in range(_STEPS):
        h, H = _view(known, seen, x)
        gain = H.T @ np.linalg.inv(H @ H.T + R)
        x = gain @ (y - h + H @ x)
    misfit = y - _view(known, seen, x)[0]
    return _Fit(x, H, gain, R, float(x @ x + misfit @ np.linalg.solve(R, misfit)))


def _conditioned(known: Sensitivities, seen: Sequence[Seen]) -> Sensitivities:
    """The camera after the references; its loadings are on the camera's normals before, on the spectra's and
    on the noise (r + k + 2 m columns).
    """
    fit, rank = _fitted(known, seen), known.loadings.shape[2]
    gain = fit.gain[:rank]
    left = np.eye(rank, fit.x.size) - gain @ fit.H
    parts = np.concatenate([left, -gain @ np.linalg.cholesky(fit.R)], axis=1)
    return Sensitivities(known.mean + known.loadings @ fit.x[:rank], known.loadings @ parts)


def _place(rgb: Array) -> Array:
    """Where channels (..., 3) lie, whatever their level (..., 2): red's and blue's shares beside green's."""
    place = shares(rgb)
    return np.asarray(place[..., ::2] - place[..., 1:2])


def _noise(seen: Sequence[Seen]) -> Array:
    """Covariance of the references' places (2 m x 2 m)."""
    R = np.zeros((2 * len(seen), 2 * len(seen)))
    for k, one in enumerate(seen):
        C = one.covariance + np.diag(np.square(_LEVEL_SD * one.rgb))
        J = _slope(one.rgb)
        rows = slice(2 * k, 2 * k + 2)
        R[rows, rows] = J @ C @ J.T + 1e-8 * np.eye(2)
    return R


def _slope(rgb: Array) -> Array:
    step = 1e-3 * rgb.max()
    return np.asarray(
        [(_place(rgb + step * unit) - _place(rgb - step * unit)) / (2 * step) for unit in np.eye(3)]
    ).T


def _view(known: Sensitivities, seen: Sequence[Seen], x: Array) -> tuple[Array, Array]:
    """Where the camera x shows the references' spectra x (2 m), and the derivative by x (2 m x n)."""
    rank = known.loadings.shape[2]
    camera = known.mean + known.loadings @ x[:rank]
    h, H, at = [], np.zeros((2 * len(seen), x.size)), rank
    for k, one in enumerate(seen):
        own = slice(at, at + len(one.glow.modes))
        spectrum = one.glow.mean + x[own] @ one.glow.modes
        rgb, rows = camera @ spectrum, slice(2 * k, 2 * k + 2)
        J = _slope(rgb)
        h.append(_place(rgb))
        H[rows, :rank] = J @ np.einsum("cwr,w->cr", known.loadings, spectrum)
        H[rows, own] = J @ camera @ one.glow.modes.T
        at = own.stop
    return np.concatenate(h), H


def _chance(camera: Camera, one: Seen) -> tuple[float, float]:
    """How likely channels as far off are, and by how much the camera's error was stretched for that: a camera
    unlike others is likelier than a reference that is not what it is said to be, up to a point.
    """
    if camera.sensitivities is None:
        return _chance_developed(camera, one), 1.0
    from scipy.stats import chi2

    chance = 0.0
    for stretched in STRETCHES:
        known = _stretched(camera.sensitivities, stretched)
        chance = float(chi2.sf(_fitted(known, [one]).distance, 2))
        if chance >= OFF:
            return chance, stretched
    return chance, 1.0


def _stretched(known: Sensitivities, by: float) -> Sensitivities:
    return Sensitivities(known.mean, by * known.loadings)


def _chance_developed(camera: Camera, one: Seen) -> float:
    """The share of drawn developments whose view of the reference lies farther from the others' than this."""
    from scipy.spatial import cKDTree

    _, views = _views(_key(camera), camera.balance, (one.glow,))
    rng = np.random.default_rng(1)
    views = views + rng.standard_normal(views.shape) @ np.linalg.cholesky(_noise([one])).T
    tree = cKDTree(views)
    own = tree.query(views[:1000], _FEW + 1)[0][:, 1:].mean(axis=1)
    here = tree.query(_place(one.rgb), _FEW)[0].mean()
    return float((own >= here).mean())


def _developed_anew(camera: Camera, seen: Sequence[Seen], observer: int, photograph: str) -> Camera:
    z, views = _views(_key(camera), camera.balance, tuple(one.glow for one in seen))
    R = _noise(seen)
    rng = np.random.default_rng(2)
    away = views + rng.standard_normal(views.shape) @ np.linalg.cholesky(R).T
    away -= np.concatenate([_place(one.rgb) for one in seen])
    near = np.argsort(np.square(away).sum(axis=1))[:_NEAREST]
    moved = _regressed(z[near], away[near])
    answers = developed(
        emission_prior(), np.asarray(camera.space), camera.balance, observer, drawn=rng.permutation(moved)
    )
    sources = ((f"{camera.shared_source}, developed, reference in {photograph}", z.shape[1]),)
    return camera.with_answers(None, {observer: answers}, sources)


def _regressed(z: Array, away: Array) -> Array:
    """Developments (n x p) moved to where their views would be the one seen; no tone curve below none."""
    centre = away - away.mean(axis=0)
    ridge = 1e-3 * np.trace(centre.T @ centre) * np.eye(away.shape[1])
    slope = np.linalg.solve(centre.T @ centre + ridge, centre.T @ (z - z.mean(axis=0)))
    moved = z - away @ slope
    moved[:, -1] = np.where(z[:, -1] > 0, np.maximum(moved[:, -1], 0.0), 0.0)
    return np.asarray(moved)


def _key(camera: Camera) -> bytes:
    return np.asarray(camera.space, dtype=float).tobytes()


@lru_cache(maxsize=4)
def _views(space: bytes, balance: float, glows: tuple[Glow, ...]) -> tuple[Array, Array]:
    """Drawn developments (n x p) and what they show of the glows (n x 2 m), their spectra drawn as well."""
    rng = np.random.default_rng(0)
    to_xyz = np.frombuffer(space).reshape(3, 3)
    z = np.array([draw_development(rng) for _ in range(_DRAWS)])
    views = np.empty((_DRAWS, 2 * len(glows)))
    for k in range(_DRAWS):
        spectra = np.array([g.mean + rng.standard_normal(len(g.modes)) @ g.modes for g in glows])
        views[k] = _place(develop(np.maximum(spectra, 0.0), z[k], to_xyz, balance, rng)).ravel()
    return z, views
