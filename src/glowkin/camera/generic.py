"""The generic camera term: how wrong a camera's own colour description is for emission bands.

Estimated once by ``benchmarks/generic_camera.py`` from measured sensitivities of 26 cameras and families
of emission spectra, and kept as a small table: at nodes over the u'v' diagram, what is known of the error
at chromaticities reported near that node. It has three parts:

- the mean error at that place, which all cameras share. It is not corrected, since a camera that sees as
  the observer does has none of it; it is one shared source, and differences cancel most of it;
- a field of local errors: colours near each other are wrong by nearly the same amount, colours far apart
  independently. Each node is one shared source; a colour loads on the nodes around it;
- a part that even equal colours do not share, since different spectra may look equal to the camera.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import resources
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import Array, square_root

if TYPE_CHECKING:
    from collections.abc import Mapping

_NEGLIGIBLE = 0.05


@dataclass(frozen=True)
class GenericError:
    """What is known of the error at each of k nodes.

    ``nodes`` (k x 2, u'v'), ``mean`` error (k x 2), second ``moments`` of the rest (k x 2 x 2), the
    ``reach`` of a node in u'v', and the ``unshared`` share of the rest.
    """

    nodes: Array
    mean: Array
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
        moments = rows[:, [4, 5, 5, 6]].reshape(-1, 2, 2)
        return GenericError(rows[:, :2], rows[:, 2:4], moments, table["reach"], table[kind]["unshared"])

    @cached_property
    def _roots(self) -> Array:
        """Loadings of the shared part at each node, k x 2 x 2."""
        roots = np.stack([square_root(M) for M in self.moments])
        return np.asarray(np.sqrt(1 - self.unshared) * roots)

    def weights(self, uv_prime: Array) -> Array:
        """How much a colour (2,) loads on each node (k,); the squares sum to 1."""
        squared = np.square(self.nodes - uv_prime).sum(axis=1) / (2 * self.reach**2)
        weight = np.exp(-(squared - squared.min()))
        return np.asarray(weight / np.sqrt(np.square(weight).sum()))

    def at(self, uv_prime: Array, camera: str) -> tuple[Array, Mapping[str, Array]]:
        """Covariance of the unshared part (2 x 2), and the loadings by source of this camera."""
        if not np.isfinite(uv_prime).all():
            return np.full((2, 2), np.nan), {}
        weight = self.weights(uv_prime)
        own = self.unshared * np.einsum("k,kij->ij", weight**2, self.moments)
        shared = {f"{camera}, matrix": (weight**2 @ self.mean)[:, None]}
        for k in np.flatnonzero(weight > _NEGLIGIBLE):
            u, v = self.nodes[k]
            shared[f"{camera}, near u'v' {u:.3f} {v:.3f}"] = weight[k] * self._roots[k]
        return own, shared
