"""A small picture for people to look at; never measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.colour.spaces import RGB_TO_XYZ, srgb_encode

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.light.linear import Frame
    from glowkin.light.photo import Photograph


def preview(photo: Photograph, frame: Frame) -> NDArray[np.uint8]:
    """The reduced photograph as sRGB, height x width x 3; raw ones brightened to their brightest spot."""
    to_srgb = np.linalg.inv(RGB_TO_XYZ["sRGB"]) @ photo.to_xyz[-1]
    linear = frame.linear @ to_srgb.T.astype(np.float32)
    if photo.kind == "raw":
        linear = linear / max(float(np.quantile(linear.max(axis=2), 0.999)), 1e-6)
    return np.asarray(np.round(255 * srgb_encode(np.clip(linear, 0, 1))), dtype=np.uint8)
