"""Flags of samples and photographs: what a reader must know before believing a figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.colour.chromaticity import XYZ_to_uv_prime

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission import Camera
    from glowkin.light.linear import Frame
    from glowkin.light.noise import Noise
    from glowkin.light.photo import Photograph
    from glowkin.light.region import Signals
    from glowkin.samples.find import Found
    from glowkin.samples.stray import Stray

SMALL_PX = 500.0
"""Area below which little of a sample is clear of its edge."""
_CLIPPED, _DIM, _AT_ZERO = 0.001, 0.02, 0.2
_UNEVEN = 0.012
_LARGEST = {
    "lamp-leakage": 0.005,
    "glowing-background": 0.005,
    "room-light": 0.003,
    "lit-by-neighbour": 0.005,
}
_VIOLET_V = 0.35
"""Below this v' lie the lamp's violet and the blue of brighteners."""
_GLOWING = 0.1


def unevenness(camera: Camera, emitted: Signals, noise: Noise) -> Array:
    """Spread of colour within each sample (n,): root mean square in u'v' over its blocks, noise taken off."""
    J = camera.jacobian(emitted.mean)
    pixel = noise.variance(emitted.mean) / np.maximum(emitted.block_cells, 1)[:, None]
    grain = np.einsum("nij,nj->n", np.square(J), pixel)
    spread = np.einsum("nij,njk,nik->n", J, emitted.scatter, J)
    return np.asarray(np.sqrt(np.clip(spread - grain, 0.0, None)))


def stray_shift(camera: Camera, emitted: Signals, stray: Stray) -> dict[str, Array]:
    """How far in u'v' a kind of stray light may still pull each colour (n), by the flag it raises."""
    J = camera.jacobian(emitted.mean)
    v_prime = XYZ_to_uv_prime(camera.XYZ(stray.ground))[1]
    kinds = {
        "glowing-background" if v_prime > _VIOLET_V else "lamp-leakage": ("lamp", "cut"),
        "room-light": ("room",),
        "lit-by-neighbour": ("neighbours", "around", "ghost"),
    }
    return {flag: np.linalg.norm(J @ stray.of(*of), axis=(1, 2)) for flag, of in kinds.items()}


def sample_flags(
    photo: Photograph,
    found: Found,
    i: int,
    emitted: Signals,
    spread: float,
    shift: dict[str, Array],
    taken: float = 1.0,
) -> tuple[str, ...]:
    """Flags of the i-th sample; ``taken``: how much more light than ``photo`` the best exposure let in."""
    brightest = taken * float(np.nan_to_num(emitted.mean[i]).max())
    told = bool(np.isfinite(emitted.mean[i]).all())
    clipped = emitted.clipped[i] > _CLIPPED
    too_small = not told and not clipped and found.area_px < SMALL_PX
    checks = {
        "clipped": clipped or not (told or too_small),
        "sample-too-small": too_small,
        "underexposed": told and brightest < _DIM,
        "out-of-gamut": photo.kind == "rendered" and emitted.at_zero[i].max() > _AT_ZERO,
        "uneven-sample": spread > _UNEVEN,
        **{flag: bool(pull[i] > _LARGEST[flag]) for flag, pull in shift.items()},
        "edge-of-frame": found.at_edge,
    }
    return tuple(name for name, raised in checks.items() if raised)


def photo_flags(photo: Photograph, frame: Frame) -> tuple[str, ...]:
    """Flags of the whole photograph: what its file tells, and a background that glows itself."""
    level = np.maximum.reduce(np.moveaxis(frame.linear[::3, ::3], 2, 0))
    background, brightest = np.quantile(level, (0.25, 0.9995))
    checks = {
        "time-missing": photo.metadata.taken_at is None,
        "glowing-background": brightest > _DIM and background > _GLOWING * brightest,
    }
    return (*photo.flags, *(name for name, raised in checks.items() if raised))
