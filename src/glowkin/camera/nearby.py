"""Which part of the prior's error two colours have in common.

That spectra of one appearance to a camera differ in colour is the same error for two samples of one emission,
and hardly related for two of different colour. So it is carried as a field over the diagram: each node is one
shared source, and a colour loads on the nodes around it; a part is each sample's own, since different spectra
may look equal.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import square_root

if TYPE_CHECKING:
    from collections.abc import Mapping

    from glowkin.base.uncertainty import Array

_SPACING, _REACH = 0.045, 0.03
"""Of measured cameras whose maker the prior does not know: so far do errors of one family's emissions go
together (``benchmarks/generic.py``)."""
_NEGLIGIBLE = 0.05
_NEAR = ", emission near "
ALIKE = {"raw": 0.65, "rendered": 0.8}
"""The part of the prior's error that equal colours share, by the kind of file: what differences of measured
cameras allow (``benchmarks/generic.py``). One emission seen twice by one camera shares all of it."""


def near_loadings(uv_prime: Array, covariance: Array, source: str) -> Mapping[str, Array]:
    """Loadings (2 x 2 each) by source of a colour (2,) whose error of this covariance lies in the field."""
    nodes = _nodes()
    squared = np.square(nodes - uv_prime).sum(axis=1) / (2 * _REACH**2)
    weight = np.exp(-(squared - squared.min()))
    weight = np.where(weight > _NEGLIGIBLE * weight.max(), weight, 0.0)
    weight /= np.sqrt(np.square(weight).sum())
    root, names = square_root(covariance), _names()
    return {f"{source}, {names[k]}": weight[k] * root for k in np.flatnonzero(weight)}


@lru_cache(maxsize=1)
def _nodes() -> Array:
    u, v = np.meshgrid(np.arange(-0.02, 0.68, _SPACING), np.arange(-0.02, 0.65, _SPACING))
    return np.stack([u.ravel(), v.ravel()], axis=1)


@lru_cache(maxsize=1)
def _names() -> list[str]:
    return [f"emission near u'v' {u:.3f} {v:.3f}" for u, v in _nodes()]


def of_field(shared: Mapping[str, Array]) -> tuple[str, dict[str, Array]]:
    """Which of the shared loadings are the field's, and whose: its camera, empty where there are none."""
    near = {source: S for source, S in shared.items() if _NEAR in source}
    return next((source.partition(_NEAR)[0] for source in near), ""), near
