"""Small copies of the photographs, made anew from their pixels so that nothing else of the file survives."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray
    from PIL import Image

Preview: TypeAlias = "bytes | Path | NDArray[np.uint8]"

LONGEST_PX = 1200


def pixels_of(preview: Preview) -> NDArray[np.uint8]:
    """RGB pixels (h, w, 3) of a JPEG or PNG, its file, or an array, upright and no longer than 1200 pixels.

    Raises ``CannotReadError`` for bytes that are no picture.
    """
    from PIL import ImageOps, UnidentifiedImageError

    try:
        picture = _open(preview)
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, TypeError) as error:
        raise CannotReadError(
            f"A preview is no picture ({error}); hand in JPEG, PNG or uint8 RGB."
        ) from error
    upright.thumbnail((LONGEST_PX, LONGEST_PX))
    return np.asarray(upright, dtype=np.uint8)


def _open(preview: Preview) -> Image.Image:
    from PIL import Image

    if isinstance(preview, np.ndarray):
        return Image.fromarray(preview)
    return Image.open(io.BytesIO(preview if isinstance(preview, bytes) else preview.read_bytes()))


def jpeg(pixels: NDArray[np.uint8], quality: int = 85) -> bytes:
    """The pixels as a JPEG file that holds nothing else: no Exif, no profile, no comment."""
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(buffer, "JPEG", quality=quality, optimize=True)
    return buffer.getvalue()


def data_uri(content: bytes, kind: str = "image/jpeg") -> str:
    """A file's content as an address that needs no file."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"
