"""What every rendered format comes to: three channels of codes in a colour space told by the file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.light.history import history_flags
from glowkin.light.metadata import Metadata, read_metadata
from glowkin.light.photo import Photograph, oriented
from glowkin.light.profile import ColourSpace, named_space, read_profile

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

LOSSY_CLIP, CLIP, _BELOW = 250 / 255, 254 / 255, 246 / 255
"""Compression scatters a clipped patch a few codes below the top, so the top six of 256 count as clipped;
without it only the top two, unless the four below these hold half as many again as the four below them: light
falls off towards its peaks, and only what was clipped piles up, as in a JPEG saved again as PNG."""
_A_FEW = 16
_IN_COLOUR = "send the camera's own file, taken in colour"
_GREYS = 1 / 8
"""Share of the scale over which a picture in greys spreads, and what a camera wrote in colour does not."""


@dataclass(frozen=True)
class Told:
    """What a file tells besides its pixels: its ``container``, a Pillow Exif mapping, XMP, and its colour
    space by profile (``icc``) or otherwise (``space``). ``orientation`` None: that of the Exif block holds.
    """

    container: str
    exif: Any
    xmp: bytes = b""
    icc: bytes | None = None
    space: ColourSpace | None = None
    bits: int = 8
    lossy: bool = False
    orientation: int | None = None
    gain_map: bool = False


def rendered_photo(path: Path, digest: str, pixels: NDArray[Any], told: Told) -> Photograph:
    """The photograph of decoded pixels (height x width x 3, or 4 with transparency)."""
    if (pixels.dtype == np.uint8) != (told.bits == 8):
        raise CannotReadError(f"{path}: holds other levels than it says; save it as PNG with 16 bits")
    metadata = read_metadata(told.exif, path)
    space, flags = _colour_space(path, metadata, told)
    channels = three_channels(path, pixels)
    if _without_colour(channels, 1 << told.bits):
        raise CannotReadError(
            f"{path}: holds greys only, red, green and blue are equal all over; {_IN_COLOUR}"
        )
    codes = oriented(channels, told.orientation or metadata.orientation)
    step, top = _code_step(codes, told), (1 << told.bits) - 1
    scattered = told.lossy or (top / step < 256 and _piled_up(codes, top))
    return Photograph(
        path=path,
        sha256=digest,
        kind="rendered",
        codes=codes,
        clip=round((LOSSY_CLIP if scattered else CLIP) * top),
        metadata=metadata,
        to_xyz=(space.rgb_to_xyz,),
        colour_space=space.name,
        flags=("rendered-file", *flags, *_white_balance(metadata), *_history(metadata, told)),
        curves=space.curves(told.bits),
        code_step=step,
        container=told.container,
    )


def three_channels(path: Path, pixels: NDArray[Any]) -> NDArray[Any]:
    """The colour channels; a transparency channel may only say that nothing is transparent."""
    if pixels.ndim != 3 or pixels.shape[2] not in (3, 4):
        raise no_colour(path, "greyscale picture" if pixels.ndim == 2 else "picture")
    if pixels.shape[2] == 4 and (pixels[..., 3] != np.iinfo(pixels.dtype).max).any():
        raise CannotReadError(f"{path}: is transparent in places; save it without transparency")
    return pixels[..., :3]


def no_colour(path: Path, what: str) -> CannotReadError:
    """The error for a picture that has not red, green and blue."""
    return CannotReadError(f"{path}: a {what} has no red, green and blue channels; {_IN_COLOUR}")


def broken(path: Path, kind: str) -> CannotReadError:
    """The error for a file that lost data."""
    return CannotReadError(f"{path}: a broken {kind} file; copy it from the camera again")


def pixels_as_coded(path: Path, data: bytes, kind: str) -> NDArray[Any]:
    """Pixels of a PNG or AVIF file, height x width x 3 or 4, every bit kept and not yet turned."""
    import cv2

    codes = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if codes is None or codes.ndim != 3:
        raise broken(path, kind)
    order = cv2.COLOR_BGR2RGB if codes.shape[2] == 3 else cv2.COLOR_BGRA2RGBA
    return np.asarray(cv2.cvtColor(codes, order))


def _colour_space(path: Path, metadata: Metadata, told: Told) -> tuple[ColourSpace, tuple[str, ...]]:
    if told.space is not None:
        return told.space, ()
    if told.icc:
        try:
            return read_profile(told.icc), ()
        except CannotReadError as error:
            raise CannotReadError(f"{path}: {error}") from error
    if metadata.colour_space:
        return named_space(metadata.colour_space), ()
    return named_space("sRGB"), ("no-profile",)


def _white_balance(metadata: Metadata) -> tuple[str, ...]:
    """A file silent about white balance was, as a rule, balanced automatically (common practice)."""
    return () if metadata.automatic_white_balance is False else ("automatic-white-balance",)


def _history(metadata: Metadata, told: Told) -> tuple[str, ...]:
    return history_flags(metadata, told.exif, told.xmp, gain_map=told.gain_map)


def _code_step(codes: NDArray[Any], told: Told) -> float:
    """Compression with loss leaves no more than eight bits; without it, a file may hold fewer than it says.

    The greatest step that divides the codes of some thousand pixels.
    """
    if told.bits == 8:
        return 1.0
    if told.lossy:
        return float(1 << (told.bits - 8))
    height, width = codes.shape[:2]
    few = codes[:: max(height // 40, 1), :: max(width // 40, 1)]
    return float(min(max(int(np.gcd.reduce(few, axis=None)), 1), 257))


def _without_colour(codes: NDArray[Any], levels: int) -> bool:
    """Whether three channels hold one picture three times; a dark frame or a blank sheet may."""

    def equal(few: NDArray[Any]) -> bool:
        return bool((few[..., 0] == few[..., 1]).all() and (few[..., 1] == few[..., 2]).all())

    height, width = codes.shape[:2]
    few = codes[:: max(height // 40, 1), :: max(width // 40, 1)]
    return equal(few) and int(np.ptp(few)) >= _GREYS * levels and equal(codes)


def _piled_up(codes: NDArray[Any], top: int) -> bool:
    """Whether a channel has more pixels just below the top than below that; a few alone may be hot ones."""
    from cv2 import inRange

    for c in range(3):
        plane = np.ascontiguousarray(codes[..., c])
        high = np.count_nonzero(inRange(plane, LOSSY_CLIP * top, CLIP * top - 1))
        if high >= _A_FEW and high > 1.5 * np.count_nonzero(
            inRange(plane, _BELOW * top, LOSSY_CLIP * top - 1)
        ):
            return True
    return False
