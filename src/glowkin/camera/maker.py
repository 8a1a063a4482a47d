"""What a maker's colour matrices tell of a camera's sensitivities.

A raw file brings a matrix from XYZ to the channels for one or two lights, which the maker fitted to coloured
surfaces. Each of its rows is a linear view of one channel's sensitivities (``benchmarks/maker_view.py``); the
prior over cameras is narrowed to those that show the same rows. Row lengths tell the gains.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.camera.sensitivities import Sensitivities, camera_prior

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array

_ROW_SD = np.array([[0.02], [0.015], [0.045]])
"""Error of each channel's row relative to its length: makers use other surfaces, weights and lights than
these (``benchmarks/generic.py``)."""
_WIDER = 1.4
"""By how much the prior's loadings are lengthened: cameras of a maker left out lie that far out (not at all
had the prior an ``own`` of 0.12 instead of 0.04)."""


def seen_through(to_xyz: Sequence[Array], prior: Sensitivities | None = None) -> Sensitivities:
    """Cameras that agree with one matrix to XYZ (3 x 3; daylight), or two (illuminant A, then daylight)."""
    from scipy.optimize import least_squares

    prior = prior or camera_prior()
    prior = Sensitivities(prior.mean, _WIDER * prior.loadings)

    def camera(z: Array) -> Array:
        return np.asarray(prior.mean + prior.loadings @ z)

    def residuals(z: Array) -> Array:
        return np.concatenate([*(away.ravel() for away in rows_differ(camera(z), to_xyz)), z])

    fit = least_squares(residuals, np.zeros(prior.loadings.shape[2]), max_nfev=20)
    values, vectors = np.linalg.eigh(np.linalg.inv(fit.jac.T @ fit.jac))
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    mean = np.maximum(camera(fit.x), 0.0)
    gain = np.linalg.norm(np.linalg.inv(to_xyz[-1]), axis=1) / np.linalg.norm(
        mean @ _views()["D65"].T, axis=1
    )
    gain /= gain[1] * mean[1].sum()
    return Sensitivities(mean * gain[:, None], (prior.loadings @ root) * gain[:, None, None]).reduced()


def rows_differ(camera: Array, to_xyz: Sequence[Array]) -> list[Array]:
    """How far the rows of a file's matrices (as in ``seen_through``) point from those of sensitivities
    (3 x 201), in standard deviations: 3 x 3 for each matrix.
    """
    views = [_views()[light] for light in ("A", "D65")][-len(to_xyz) :]
    return [
        (_directions(camera @ view.T) - _directions(np.linalg.inv(M))) / _ROW_SD
        for view, M in zip(views, to_xyz, strict=True)
    ]


def maker_matrix(sensitivities: Array) -> Array:
    """A maker's matrix (3 x 3) from the channels of this camera (3 x 201) to XYZ, balanced for D65.

    It maps the channels balanced to a white of (1, 1, 1) times their white's answer; see ``development``.
    """
    return np.asarray(np.linalg.inv(sensitivities @ _views()["D65"].T))


def _directions(rows: Any) -> Array:
    """Rows of unit length: a channel's gain is no matter of its shape."""
    return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True))


@lru_cache(maxsize=1)
def _views() -> dict[str, Array]:
    text = resources.files(__package__).joinpath("data", "maker_view.json").read_text("utf-8")
    table = json.loads(text)
    return {light: np.array(table[light], dtype=float) for light in ("A", "D65")}
