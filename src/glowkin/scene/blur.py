"""What bends the light between the scene and the sensor: focus, shake, fog on glass, a flickering lamp.

All of it happens to light (height x width x 3, channel responses), before the mosaic samples it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.scene.render import light_mosaic

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.scene.cameras import SceneCamera
    from glowkin.scene.stage import Scene

    Plane: TypeAlias = "NDArray[np.float32]"

_FINE = 8


def light_planes(scene: Scene, camera: SceneCamera) -> Plane:
    """The scene's light at every pixel in all three channels, h x w x 3."""
    return np.stack([light_mosaic(scene, camera.with_(cfa=(c,))) for c in "RGB"], axis=2)


def sampled(planes: Plane, cfa: NDArray[np.uint8]) -> Plane:
    """The planes as the mosaic sees them, h x w."""
    h, w = planes.shape[:2]
    p, q = cfa.shape
    out = np.empty((h, w), np.float32)
    for i, j in np.ndindex(p, q):
        out[i::p, j::q] = planes[i::p, j::q, cfa[i, j]]
    return out


def defocused(planes: Plane, radius_px: float) -> Plane:
    """Out of focus: every point becomes an even disc of this radius."""
    return _filtered(planes, _drawn([(0.0, 0.0)], radius_px))


def shaken(planes: Plane, length_px: float, angle: float, bend: float = 0.0) -> Plane:
    """The camera moved while the shutter was open: a path this long in direction ``angle`` (radians).

    ``bend`` is how far the path's middle leaves the straight line, in shares of its length.
    """
    t = np.linspace(-0.5, 0.5, max(int(_FINE * length_px), 2))
    along, across = t * length_px, bend * length_px * (0.25 - t * t) * 4.0
    x = along * np.cos(angle) - across * np.sin(angle)
    y = along * np.sin(angle) + across * np.cos(angle)
    return _filtered(planes, _drawn(list(zip(x, y, strict=True)), 0.5))


def banded(planes: Plane, depth: float, bands: float, phase: float) -> Plane:
    """A lamp that flickers while the rows are read out: ``bands`` cycles over the height, each row its own.

    ``depth``: share of the light that comes and goes, half of it up and half of it down.
    """
    rows = np.arange(planes.shape[0], dtype=np.float32) / planes.shape[0]
    wave = 1.0 + 0.5 * np.float32(depth) * np.sin(2.0 * np.pi * np.float32(bands) * rows + np.float32(phase))
    return np.asarray(planes * wave.astype(np.float32)[:, None, None])


def fogged(
    planes: Plane, discs: Sequence[tuple[float, float, float]], veil: float, rng: np.random.Generator
) -> Plane:
    """Mist on cold glass: of the light behind each disc (x, y, radius) the share ``veil`` is spread about.

    The mist is fine drops; some have run together and show as specks, sharp as the glass itself.
    """
    import cv2

    h, w = planes.shape[:2]
    out = planes.copy()
    for x, y, radius in discs:
        reach = int(1.6 * radius) + 2
        box = np.s_[max(int(y) - reach, 0) : int(y) + reach, max(int(x) - reach, 0) : int(x) + reach]
        yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)[(slice(None), *box)]
        glass = np.clip((radius - np.hypot(xx - np.float32(x), yy - np.float32(y))) / 3.0 + 0.5, 0.0, 1.0)
        wide = float(rng.uniform(0.18, 0.40)) * radius
        spread = cv2.GaussianBlur(planes[box], (0, 0), wide, borderType=cv2.BORDER_REPLICATE)
        drops = cv2.GaussianBlur(rng.standard_normal(glass.shape).astype(np.float32), (0, 0), 1.6)
        specks = 1.0 + 0.12 * veil * np.clip(drops / drops.std(), -1.0, 3.0)
        mist = (np.float32(1.0 - veil) * planes[box] + np.float32(veil) * spread) * specks[..., None]
        out[box] += glass[..., None] * (mist - planes[box])
    return np.asarray(out, dtype=np.float32)


def _drawn(path: Sequence[tuple[float, float]], radius: float) -> Plane:
    """A kernel of unit sum: a disc moved along a path, drawn finely and averaged to pixels."""
    reach = int(np.ceil(max(max(abs(x), abs(y)) for x, y in path) + radius + 1.0))
    n = 2 * reach + 1
    fine = 4 if n > 40 else _FINE
    centre = (np.arange(n * fine) + 0.5) / fine - 0.5 - reach
    kernel = np.zeros((n * fine, n * fine), np.float32)
    for x, y in path:
        rows = np.abs(centre - y) <= radius + 1e-6
        columns = np.abs(centre - x) <= radius + 1e-6
        square = (centre[rows] - y)[:, None] ** 2 + (centre[columns] - x)[None, :] ** 2
        kernel[np.ix_(rows, columns)] += square <= radius**2
    pixels = kernel.reshape(n, fine, n, fine).mean(axis=(1, 3))
    return np.asarray(pixels / pixels.sum())


def _filtered(planes: Plane, kernel: Plane) -> Plane:
    import cv2

    return np.asarray(cv2.filter2D(planes, -1, kernel, borderType=cv2.BORDER_REPLICATE))
