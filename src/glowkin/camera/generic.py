"""The generic camera term: how wrong a camera's own colour description is for emission bands.

Estimated once by ``benchmarks/generic_camera.py`` from measured sensitivities of 26 cameras and families
of emission spectra, and kept as a small table: at nodes over the u'v' diagram, the second moment of the
error at chromaticities reported near that node. The error is a field: colours near each other are wrong
by nearly the same amount (so their difference is not), colours far apart independently. Each node is one
shared source; a colour loads on the nodes around it. A small part is not shared even by equal colours,
since different spectra may look equal to the camera.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import Array, square_root

if TYPE_CHECKING:
    from collections.abc import Mapping

_NEGLIGIBLE = 0.03


@dataclass(frozen=True)
class GenericError:
    """Nodes (k x 2, u'v'), the error's second moment at each (k x 2 x 2), the ``reach`` of a node in u'v',
    and the ``unshared`` share of the variance.
    """

    nodes: Array
    moments: Array
    reach: float
    unshared: float

    @staticmethod
    @lru_cache(maxsize=4)
    def load(kind: str) -> GenericError:
        """The table for ``raw``, ``rendered`` or ``rendered-auto`` (automatic white balance) files."""
        text = resources.files(__package__).joinpath("data", "generic_error.json").read_text("utf-8")
        table = json.loads(text)
        rows = np.array(table[kind]["nodes"], dtype=float)
        uu, uv, vv = rows[:, 2], rows[:, 3], rows[:, 4]
        moments = np.stack([uu, uv, uv, vv], axis=1).reshape(-1, 2, 2)
        return GenericError(rows[:, :2], moments, table["reach"], table["unshared"])

    def weights(self, uv_prime: Array) -> Array:
        """How much a colour (2,) loads on each node (k,); the squares sum to 1."""
        squared = np.square(self.nodes - uv_prime).sum(axis=1) / (2 * self.reach**2)
        weight = np.exp(-(squared - squared.min()))
        return np.asarray(weight / np.sqrt(np.square(weight).sum()))

    def at(self, uv_prime: Array, camera: str) -> tuple[Array, Mapping[str, Array]]:
        """Covariance of the unshared part (2 x 2), and the loadings (2 x 2) by node of this camera."""
        if not np.isfinite(uv_prime).all():
            return np.full((2, 2), np.nan), {}
        weight = self.weights(uv_prime)
        own = self.unshared * np.einsum("k,kij->ij", weight**2, self.moments)
        shared = {
            f"{camera}, near u'v' {u:.2f} {v:.2f}": np.sqrt(1 - self.unshared) * w * square_root(M)
            for (u, v), w, M in zip(self.nodes, weight, self.moments, strict=True)
            if w > _NEGLIGIBLE
        }
        return own, shared
