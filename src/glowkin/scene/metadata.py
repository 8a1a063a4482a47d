"""Exif blocks of rendered photographs, true to their exposure."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Exif
    from PIL.TiffImagePlugin import IFDRational

    from glowkin.scene.shot import Shot

EXIF_IFD, GPS_IFD = 0x8769, 0x8825
MERGED = 3
"""CustomRendered as phones write it for merged frames (common practice, no source)."""


def describe(exif: Exif, shot: Shot, orientation: int) -> None:
    """Fill in maker, model, orientation, time, exposure, white balance, and position where one is known."""
    exif[271], exif[272], exif[274] = shot.camera.make, shot.camera.name, orientation
    ifd, taken = exif.get_ifd(EXIF_IFD), shot.exposure
    ifd[0x9003] = taken.taken_at.strftime("%Y:%m:%d %H:%M:%S")
    if taken.utc_offset is not None:
        ifd[0x9011] = taken.utc_offset
    ifd[0x829A], ifd[0x829D] = rational(taken.exposure_s), rational(taken.f_number)
    ifd[0x8827] = round(taken.iso)
    ifd[0xA402], ifd[0xA403] = 1, int(not taken.automatic_white_balance)
    if taken.merged:
        ifd[0xA401] = MERGED
    if taken.serial_number is not None:
        ifd[0xA431] = taken.serial_number
    if taken.position is not None:
        _position(exif, taken.position)


def rational(value: float) -> IFDRational:
    """A number as an Exif rational, good to six digits."""
    from PIL.TiffImagePlugin import IFDRational

    fraction = Fraction(value).limit_denominator(1_000_000)
    return IFDRational(fraction.numerator, fraction.denominator)


def _position(exif: Exif, position: tuple[float, float]) -> None:
    gps = exif.get_ifd(GPS_IFD)
    latitude, longitude = position
    gps[1], gps[2] = ("N" if latitude >= 0 else "S"), _degrees(latitude)
    gps[3], gps[4] = ("E" if longitude >= 0 else "W"), _degrees(longitude)


def _degrees(angle: float) -> tuple[IFDRational, IFDRational, IFDRational]:
    whole, minutes = divmod(abs(angle) * 60.0, 60.0)
    return rational(whole), rational(float(int(minutes))), rational(round((minutes % 1.0) * 60.0, 3))
