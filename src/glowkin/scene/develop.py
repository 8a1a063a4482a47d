"""What a camera makes of its own mosaic: a JPEG, with everything that bends colours on the way.

The order is the cameras': demosaic, white balance, clip each camera channel at full scale, matrix to the
colour space, clip at its gamut, curve, tone curve, eight bits.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.scene.cameras import daylight
from glowkin.scene.icc import matrix_profile
from glowkin.scene.metadata import describe

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.scene.cameras import SceneCamera
    from glowkin.scene.shot import Shot

    Array: TypeAlias = "NDArray[np.float64]"
    Plane: TypeAlias = "NDArray[np.float32]"

Space = Literal["sRGB", "Display P3"]
SPACES = ("sRGB", "Display P3")


@dataclass(frozen=True)
class Development:
    """The choices a camera makes.

    ``white_balance_error``: factors on the red and blue gains; ``tone``: 0 is none, 1 a strong S;
    ``lift``: power of encoded values before that, below 1 brightens mid-tones; ``brighten``: gain before
    clipping; ``profile``: whether the file names its space.
    """

    space: Space = "sRGB"
    white_balance_error: tuple[float, float] = (1.0, 1.0)
    tone: float = 0.0
    lift: float = 1.0
    brighten: float = 1.0
    quality: int = 95
    subsampling: Literal["4:4:4", "4:2:2", "4:2:0"] = "4:4:4"
    profile: bool = True
    table_curve: bool = False


def write_jpeg(shot: Shot, path: str | Path, development: Development | None = None) -> Path:
    """Develop the shot and write it as a JPEG; returns its path."""
    path = Path(path)
    path.write_bytes(jpeg_bytes(shot, development))
    return path


def jpeg_bytes(shot: Shot, development: Development | None = None) -> bytes:
    """The whole JPEG file; the same shot gives the same bytes."""
    from PIL import Image

    d = development or Development()
    exif = Image.Exif()
    describe(exif, shot, shot.exposure.orientation)
    out = BytesIO()
    icc = profile_bytes(d.space, table=d.table_curve) if d.profile else None
    picture = Image.fromarray(developed(shot, d))
    picture.save(
        out, "JPEG", quality=d.quality, subsampling=d.subsampling, exif=exif.tobytes(), icc_profile=icc
    )
    return out.getvalue()


def developed(shot: Shot, development: Development | None = None) -> NDArray[np.uint8]:
    """The developed picture as stored (orientation not applied), h x w x 3, eight bits."""
    d = development or Development()
    linear = linear_rgb(shot, d)
    encoded = _tone(_curve(np.clip(linear, 0.0, 1.0)) ** np.float32(d.lift), d.tone)
    return np.asarray(np.rint(encoded * np.float32(255.0)), dtype=np.uint8)


def linear_rgb(shot: Shot, development: Development | None = None) -> Plane:
    """Linear light in the colour space, the camera's clipping done, not yet cut to the gamut; h x w x 3."""
    d = development or Development()
    camera, K = shot.camera, shot.exposure.white_balance_kelvin
    full = np.float32(camera.white - camera.black)
    rgb = demosaiced((shot.codes.astype(np.float32) - np.float32(camera.black)) / full, camera.cfa_index)
    gains = white_balance_gains(camera, K, d.white_balance_error) * d.brighten
    balanced = np.clip(rgb * gains.astype(np.float32), 0.0, 1.0)
    return np.asarray(balanced @ camera_to_space(camera, d.space).T.astype(np.float32))


def white_balance_gains(
    camera: SceneCamera, white_K: float, error: tuple[float, float] = (1.0, 1.0)
) -> Array:
    """Gains that make a white surface in this daylight equal in all channels, the least gain 1."""
    gains = 1.0 / camera.neutral(daylight(white_K)) * np.array([error[0], 1.0, error[1]])
    return np.asarray(gains / gains.min())


def camera_to_space(camera: SceneCamera, space: Space) -> Array:
    """White-balanced camera channels to linear RGB.

    The inverse of ColorMatrix2 times the space's own matrix, its rows first scaled so that white stays white
    (common practice of raw developers, no source).
    """
    camera_from_rgb = camera.color_matrices[1] @ space_matrix(space)
    return np.linalg.inv(camera_from_rgb / camera_from_rgb.sum(axis=1, keepdims=True))


def space_matrix(space: Space) -> Array:
    """Linear RGB of the space to XYZ, white at Y = 1."""
    if space not in SPACES:
        raise WrongUseError(f"colour space {space!r}: take one of {', '.join(SPACES)}")
    return RGB_TO_XYZ[space]


def profile_bytes(space: Space, *, table: bool = False) -> bytes:
    """An ICC profile of the space."""
    return matrix_profile(space, space_matrix(space), table=table)


def demosaiced(mosaic: Plane, cfa: NDArray[np.uint8]) -> Plane:
    """Each channel's missing pixels as the weighted mean of its neighbours (bilinear for a 2 x 2 mosaic)."""
    import cv2

    h, w = mosaic.shape
    p, q = cfa.shape
    kernel = _triangle(2 * p - 1)[:, None] * _triangle(2 * q - 1)[None, :]
    out = np.empty((h, w, 3), np.float32)
    for c in range(3):
        mask = np.tile((cfa == c).astype(np.float32), (-(-h // p), -(-w // q)))[:h, :w]
        weight = cv2.filter2D(mask, -1, kernel, borderType=cv2.BORDER_CONSTANT)
        out[..., c] = cv2.filter2D(mosaic * mask, -1, kernel, borderType=cv2.BORDER_CONSTANT) / weight
    return out


def _triangle(n: int) -> Plane:
    middle = n // 2
    return np.asarray(1.0 + middle - np.abs(np.arange(n) - middle), dtype=np.float32)


def _curve(linear: Plane) -> Plane:
    """The sRGB curve, which Display P3 uses too (IEC 61966-2-1)."""
    low = linear * np.float32(12.92)
    high = np.float32(1.055) * np.power(linear, np.float32(1.0 / 2.4)) - np.float32(0.055)
    return np.where(linear <= np.float32(0.0031308), low, high)


def _tone(encoded: Plane, strength: float) -> Plane:
    """An S-curve on encoded values: mid-tones lifted, shadows and lights pressed together."""
    if not strength:
        return encoded
    s = np.float32(strength)
    return (1 - s) * encoded + s * encoded * encoded * (3 - 2 * encoded)
