"""A small picture for people to look at; never measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.colour.spaces import RGB_TO_XYZ, srgb_encode
from glowkin.light.photo import Limits, check_pixels
from glowkin.light.quiet import quiet

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from glowkin.light.linear import Frame
    from glowkin.light.photo import Photograph


def without_colour(path: Path, longest_px: int) -> NDArray[np.uint8] | None:
    """A small picture (height x width x 3) of a file that shows greys, a palette or inks, and so cannot be
    measured; None for any other.

    Raises CannotReadError where it is too large.
    """
    from PIL import Image, ImageOps

    try:
        with quiet(), Image.open(path, formats=("JPEG", "PNG", "TIFF")) as image:
            check_pixels(path, *image.size, Limits())
            if image.mode in ("RGB", "RGBA", "YCbCr", "LAB"):
                return None
            image.draft("L", (longest_px, longest_px))
            shown = ImageOps.exif_transpose(image)
            if shown.mode.startswith("I"):
                shown = Image.fromarray((np.asarray(shown).clip(0, 65535) // 256).astype(np.uint8))
            small = shown.convert("RGB")
            small.thumbnail((longest_px, longest_px))
            return np.asarray(small)
    except (OSError, ValueError, SyntaxError):
        return None


def preview(photo: Photograph, frame: Frame) -> NDArray[np.uint8]:
    """The reduced photograph as sRGB, height x width x 3; raw ones brightened to their brightest spot."""
    to_srgb = np.linalg.inv(RGB_TO_XYZ["sRGB"]) @ photo.to_xyz[-1]
    linear = frame.linear @ to_srgb.T.astype(np.float32)
    if photo.kind == "raw":
        linear = linear / max(float(np.quantile(linear.max(axis=2), 0.999)), 1e-6)
    return np.asarray(np.round(255 * srgb_encode(np.clip(linear, 0, 1))), dtype=np.uint8)
