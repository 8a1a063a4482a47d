"""How much of a neighbour's light lies on a sample, from how the sample's colour changes across it.

A sample's own light may be brighter here and dimmer there, but has one colour. Light of a neighbour is of
another colour and falls off with distance. So the mean of each block is s e + q P: brightness s of the own
colour e, and the pattern P expected of the neighbours in an unknown amount q. Where the pattern does not
change across the sample, or has its colour, the amount stays as uncertain as it was believed to be.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

_ROUNDS, _LEAST = 3, 8
_CORRELATED = 3.0
"""Blocks of a powder are not quite independent: errors of the amounts are taken this many times wider
(common practice, no source)."""


def amount(patches: Array, pattern: Array, believed: float, sd: float) -> tuple[float, float]:
    """How many times the pattern (blocks x 3) lies on the blocks (x, y, cells, RGB), with its error.

    ``believed`` and ``sd`` are what is held of it beforehand. Gauss-Newton on the amount and the own colour.
    """
    q, error = believed, sd
    if len(patches) < _LEAST or not pattern.any():
        return q, error
    cells, seen = patches[:, 2], patches[:, 3:]
    weight = np.sqrt(cells / cells.mean())[:, None]
    for _ in range(_ROUNDS):
        own = seen - q * pattern
        colour = cells @ own
        s = own @ colour
        colour = (s * cells) @ own / ((s * cells) @ s)
        rest = own - np.outer(s, colour)
        noise = np.sqrt((np.square(rest) * weight**2).sum(axis=0) / (len(s) - 2)) + 1e-9
        along = colour / noise**2 / (colour @ (colour / noise**2))
        s = own @ along
        rest = own - np.outer(s, colour)
        free = pattern - np.outer(pattern @ along, colour)
        turns = s[:, None, None] * np.eye(3)
        A = np.concatenate([free[:, :, None], turns], axis=2) * (weight / noise)[:, :, None]
        A, t = A.reshape(-1, 4), (rest * weight / noise).ravel()
        H, g = A.T @ A / _CORRELATED**2, A.T @ t / _CORRELATED**2
        H[0, 0] += 1.0 / sd**2
        g[0] += (believed - q) / sd**2
        H[1:, 1:] += np.eye(3) * 1e-9 * np.trace(H[1:, 1:])
        C = np.linalg.inv(H)
        q, error = float(q + (C @ g)[0]), float(np.sqrt(C[0, 0]))
    return q, error
