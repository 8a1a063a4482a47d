"""What rendered files show of the prior's spectra: cameras and developments drawn from what they may be.

A drawn camera sees the spectra; white balance for some daylight, and off from that by some share in each
channel; a matrix to the file's colour space, fitted to the patches of a chart in daylight, and off from that
as makers differ; saturation; for some of them colours outside the colour space drawn towards grey, for all
what is still outside cut at zero; for half of them a tone curve; codes of 8 bits.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.answers import Answers, answers_of
from glowkin.camera.daylight import D65_KELVIN, planck
from glowkin.camera.maker import maker_matrix
from glowkin.camera.sensitivities import Sensitivities, camera_prior
from glowkin.colour.spaces import srgb_decode, srgb_encode

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission_prior import EmissionPrior

VERSION = "4"
"""To be raised with every change of the developments: caches are keyed by it."""
BALANCE = {"set": 0.1, "automatic": 0.35}
"""White-balance error as the natural logarithm of each channel's gain, one standard deviation."""
DEVELOPMENTS = 500
_BALANCED_FOR = (5000.0, 6500.0)
"""Colour temperatures (K) of daylight that cameras balance for (common practice, no source)."""
_CAMERA_RANK, _WIDER = 12, 1.4
"""Loadings kept of the prior over cameras, and by how much they are lengthened, as in ``maker``."""
PARAMETERS = _CAMERA_RANK + 5
_SATURATION, _SATURATION_SD = 0.06, 0.08
"""Makers saturate rather than pale (common practice, no source)."""
_CURVE, _GAMMA = (0.03, 0.22), 0.08
_MATRIX_SD = 0.04
"""How matrices from balanced channels to sRGB differ over one camera by the surfaces, weights and lights that
they were fitted to (``benchmarks/generic.py``); grey stays grey."""
_DRAWN_IN, _LEAST_DRAWN_IN = 0.3, 0.5
"""The share of developments that draw colours into the colour space, and the least part of the way that they
do (common practice, no source)."""


def developed(
    prior: EmissionPrior,
    rgb_to_xyz: Array,
    balance: float,
    observer: int,
    seed: int = 0,
    drawn: Array | None = None,
) -> Answers:
    """Answers of a rendered file in a colour space (3 x 3 to XYZ) whose camera is not known.

    ``drawn`` (D x 17) are developments to take instead of those of the prior.
    """
    rng = np.random.default_rng(seed)
    n = len(prior.spectra)
    rgb, z = np.empty((n, 3)), np.empty((n, PARAMETERS))
    count = DEVELOPMENTS if drawn is None else len(drawn)
    for k in range(count):
        mine = slice(k, None, count)
        z[mine] = draw_development(rng) if drawn is None else drawn[k]
        rgb[mine] = develop(prior.spectra[mine], z[k], rgb_to_xyz, balance, rng)
    return answers_of(prior, rgb, z, observer)


def draw_development(rng: np.random.Generator) -> Array:
    """One development: the camera (12 standard normals), balance of each channel, saturation, tone curve."""
    z = rng.standard_normal(PARAMETERS)
    z[-1] = abs(z[-1]) if rng.random() < 0.5 else 0.0
    return z


def develop(
    spectra: NDArray[np.floating], z: Array, rgb_to_xyz: Array, balance: float, rng: np.random.Generator
) -> Array:
    """Linear channels (n x 3) that a file of this development (17) shows of spectra (n x 201)."""
    raw, matrix = _before_matrix(spectra, z, rgb_to_xyz, balance, rng)
    linear = _drawn_in(raw @ (_saturated(z[-2]) @ matrix).T, rgb_to_xyz[1], rng)
    level = rng.uniform(0.2, 0.85, (len(linear), 1)) / np.maximum(linear.max(axis=1, keepdims=True), 1e-12)
    return np.asarray(_as_read(linear * level, min(z[-1], 2.0), rng) / level)


def develop_over(
    spectra: NDArray[np.floating],
    over: Array,
    z: Array,
    rgb_to_xyz: Array,
    balance: float,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Linear channels (n x 3, full scale 1) of spectra exposed until the highest channel would reach ``over``
    (n) times full scale, and what they were multiplied by (n).

    Balanced channels of the sensor end at full scale before the matrix (common practice, no source).
    """
    raw, matrix = _before_matrix(spectra, z, rgb_to_xyz, balance, rng)
    to_space = (_saturated(z[-2]) @ matrix).T
    highest = (raw @ to_space).max(axis=1)
    level = (over / np.maximum(highest, 1e-12))[:, None]
    white = np.linalg.solve(matrix, np.ones(3))
    linear = _drawn_in(np.minimum(raw * level, white) @ to_space, rgb_to_xyz[1], rng)
    return _as_read(linear, min(z[-1], 2.0), rng), level[:, 0]


def _before_matrix(
    spectra: NDArray[np.floating], z: Array, rgb_to_xyz: Array, balance: float, rng: np.random.Generator
) -> tuple[Array, Array]:
    """The sensor's channels (n x 3), balanced as far as it is right, and the matrix to the colour space."""
    camera = _fewer(camera_prior())
    seen = np.maximum(camera.mean + camera.loadings @ z[:_CAMERA_RANK], 0.0)
    gains = np.exp(balance * z[-5:-2]) * _gains(seen, rng.uniform(*_BALANCED_FOR))
    raw = spectra @ (seen * gains[:, None]).T
    return raw, _as_makers_differ(np.linalg.inv(rgb_to_xyz) @ maker_matrix(seen), rng)


@lru_cache(maxsize=2)
def _fewer(camera: Sensitivities) -> Sensitivities:
    return Sensitivities(camera.mean, _WIDER * camera.loadings).reduced(_CAMERA_RANK)


def _gains(seen: Array, kelvin: float) -> Array:
    """Channels (3) balanced for this daylight over those balanced for D65; as Planckian lights differ."""
    gains = (seen @ planck(D65_KELVIN)) / (seen @ planck(kelvin))
    return np.asarray(gains / gains[1])


def _saturated(z: float) -> Array:
    """A matrix that moves colours away from grey by a share drawn."""
    share = np.exp(_SATURATION + _SATURATION_SD * z)
    return np.asarray(share * np.eye(3) + (1 - share) / 3.0)


def _as_makers_differ(matrix: Array, rng: np.random.Generator) -> Array:
    """The matrix, changed in what it makes of colours and not in what it makes of grey."""
    change = _MATRIX_SD * rng.standard_normal((3, 3))
    change -= change.mean(axis=1, keepdims=True)
    white = np.linalg.solve(matrix, np.ones(3))
    return np.asarray(matrix + change / white)


def _drawn_in(linear: Array, luminance: Array, rng: np.random.Generator) -> Array:
    """Colours outside the colour space moved towards the grey of their luminance, by some developments."""
    if rng.random() >= _DRAWN_IN:
        return linear
    grey = np.maximum(linear @ luminance, 1e-12)[:, None]
    lowest = linear.min(axis=1, keepdims=True)
    inside = np.where(lowest < 0, grey / np.maximum(grey - lowest, 1e-12), 1.0)
    share = 1.0 - rng.uniform(_LEAST_DRAWN_IN, 1.0) * (1.0 - inside)
    return np.asarray(grey + share * (linear - grey))


def _as_read(linear: Array, curve: float, rng: np.random.Generator) -> Array:
    """Cut at both ends, through the tone curve into codes, and read as a reader does."""
    code = srgb_encode(np.clip(linear, 0.0, 1.0))
    if curve > 0:
        strength = min(_CURVE[0] + 0.08 * curve, _CURVE[1])
        code = code ** np.exp(_GAMMA * rng.standard_normal())
        code = np.clip(code + strength * np.sin(2 * np.pi * (code - 0.5)) / np.pi * code, 0.0, 1.0)
    return np.asarray(srgb_decode(np.round(code * 255) / 255))
