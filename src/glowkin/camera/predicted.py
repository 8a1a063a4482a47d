"""What a camera would show of a known glow: the way back from a colour to channels, with its error."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.development import develop, draw_development

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission import Camera
    from glowkin.camera.glows import Glow

_DRAWS = 600


def direction_of(camera: Camera, glow: Glow) -> tuple[Array, Array]:
    """Direction (3,), of length 1, of a glow in linear RGB, and its covariance (3, 3).

    It holds what is not known of the glow's spectrum and of the camera: of sensitivities to first order, of
    a rendered file by draws of how it may have been developed.
    """
    if camera.sensitivities is None:
        return _drawn(camera, glow)
    known = camera.sensitivities
    seen = known.mean @ glow.mean
    size = float(np.linalg.norm(seen))
    moved = np.concatenate(
        [known.mean @ glow.modes.T, np.einsum("cwr,w->cr", known.loadings, glow.mean)], axis=1
    )
    return seen / size, moved @ moved.T / size**2


def _drawn(camera: Camera, glow: Glow) -> tuple[Array, Array]:
    rng = np.random.default_rng(3)
    seen = np.empty((_DRAWS, 3))
    for k in range(_DRAWS):
        spectrum = np.maximum(glow.mean + rng.standard_normal(len(glow.modes)) @ glow.modes, 0.0)
        z = draw_development(rng)
        seen[k] = develop(spectrum[None], z, np.asarray(camera.space), camera.balance, rng)[0]
    seen /= np.linalg.norm(seen, axis=1, keepdims=True)
    mean = seen.mean(axis=0)
    size = float(np.linalg.norm(mean))
    return mean / size, np.asarray(np.cov(seen.T)) / size**2
