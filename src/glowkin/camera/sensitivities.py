"""A camera's spectral sensitivities and how well they are known."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.uncertainty import Z95
from glowkin.camera.grid import WAVELENGTH_NM

if TYPE_CHECKING:
    from collections.abc import Mapping

    from glowkin.base.uncertainty import Array

RANK = 16
"""Loadings kept of a camera's covariance; more change nothing that a table of 40 000 spectra shows."""


@dataclass(frozen=True, eq=False)
class Sensitivities:
    """``mean`` (3 x 201: R, G, B on the grid, relative response per unit of power) and ``loadings``
    (3 x 201 x r): the sensitivities are the mean plus loadings times independent standard normals.
    """

    mean: Array
    loadings: Array

    def times(self, transmittance: Array) -> Sensitivities:
        """Behind a filter of this transmittance (201,)."""
        return Sensitivities(self.mean * transmittance, self.loadings * transmittance[None, :, None])

    def shapes(self) -> Sensitivities:
        """Each channel's mean with unit sum."""
        size = self.mean.sum(axis=1, keepdims=True)
        return Sensitivities(self.mean / size, self.loadings / size[:, :, None])

    def middles(self) -> tuple[Array, Array]:
        """The mean wavelength of each channel's sensitivities (3), and the reach of its 95 % interval (3)."""
        size = self.mean.sum(axis=1)
        middle = self.mean @ WAVELENGTH_NM / size
        away = WAVELENGTH_NM - middle[:, None]
        moved = np.einsum("cw,cwr->cr", away, self.loadings) / size[:, None]
        return middle, Z95 * np.sqrt(np.square(moved).sum(axis=1))

    def reduced(self, rank: int = RANK) -> Sensitivities:
        """The same with the ``rank`` loadings that carry most of the covariance."""
        flat = self.loadings.reshape(self.mean.size, -1)
        u, s, _ = np.linalg.svd(flat, full_matrices=False)
        kept = (u[:, :rank] * s[:rank]).reshape(*self.mean.shape, -1)
        return replace(self, loadings=kept)


@dataclass(frozen=True, eq=False)
class Gains:
    """What raw channels' sums are like: logarithm of red's and blue's over green's ``mean`` (2), and how it
    changes with the prior's first loadings ``slopes`` (2 x k).
    """

    mean: Array
    slopes: Array


@lru_cache(maxsize=2)
def camera_prior(own: float | None = None) -> Sensitivities:
    """What cameras are like before anything is known of one; each channel of the mean has unit sum.

    Mean and components over measured cameras (``benchmarks/camera_prior.py``), and beyond them smooth
    deviations: of all channels together, as glass and sensor make them, and of each on its own, as the table
    has it or as given.
    """
    return prior_of(_table() if own is None else _table() | {"own": own})


@lru_cache(maxsize=1)
def usual_gains() -> Gains:
    """Gains of measured cameras' raw channels (``benchmarks/camera_prior.py``)."""
    return gains_of(_table())


def gains_of(table: Mapping[str, Any]) -> Gains:
    """The gains that a table describes (as ``data/camera_prior.json``)."""
    return Gains(np.array(table["gains"]), np.array(table["gain_slopes"]))


def prior_of(table: Mapping[str, Any]) -> Sensitivities:
    """The prior over cameras that a table describes (as ``data/camera_prior.json``)."""
    nm = np.array(table["wavelength_nm"], dtype=float)
    mean = _spread(nm, np.array(table["mean"]))
    size = mean.sum(axis=1)[:, None]
    components = np.stack([_spread(nm, np.array(c)) / size for c in table["components"]], axis=-1)
    rest = structured(mean / size, table["common"], table["own"], table["floor"], table["length_nm"])
    return Sensitivities(mean / size, np.concatenate([components, rest], axis=-1))


def structured(mean: Array, common: float, own: float, floor: float, length_nm: float) -> Array:
    """Loadings (3 x 201 x r) of smooth deviations: ``common`` to all channels and each channel's ``own``, as
    shares of the mean, and a ``floor`` in shares of the channel's peak; squared-exponential in wavelength.
    """
    distance = np.subtract.outer(WAVELENGTH_NM, WAVELENGTH_NM) / length_nm
    values, vectors = np.linalg.eigh(np.exp(-0.5 * distance**2))
    keep = np.argsort(values)[::-1][:16]
    waves = vectors[:, keep] * np.sqrt(np.clip(values[keep], 0.0, None))
    together = (common * mean)[:, :, None] * waves
    size = own * mean + floor * mean.max(axis=1, keepdims=True)
    apart = np.zeros((3, WAVELENGTH_NM.size, 3 * waves.shape[1]))
    for channel in range(3):
        first = channel * waves.shape[1]
        apart[channel, :, first : first + waves.shape[1]] = size[channel][:, None] * waves
    return np.concatenate([together, apart], axis=-1)


def _table() -> dict[str, Any]:
    text = resources.files(__package__).joinpath("data", "camera_prior.json").read_text("utf-8")
    return dict(json.loads(text))


def _spread(nm: Array, channels: Array) -> Array:
    """Three channels on another wavelength scale brought to the grid."""
    return np.stack([np.interp(WAVELENGTH_NM, nm, channel) for channel in channels])
