"""The picture that the files of the format tests hold, and what goes with it."""

from __future__ import annotations

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.scene.icc import matrix_profile

HEIGHT, WIDTH = 64, 96


def chart(bits):
    """Smooth colours over the whole range of so many bits, no code's low bits empty."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    top = (1 << bits) - 1
    red, green, blue = x / (WIDTH - 1), 1 - y / (HEIGHT - 1), (x + 2 * y) / (WIDTH + 2 * HEIGHT - 3)
    codes = np.rint(top * np.stack([red, green, blue], axis=2))
    return codes.astype(np.uint8 if bits == 8 else np.uint16)


def srgb_light(codes, bits):
    """Linear light of sRGB codes, as IEC 61966-2-1 writes it."""
    V = codes / ((1 << bits) - 1)
    return np.where(V <= 0.04045, V / 12.92, ((V + 0.055) / 1.055) ** 2.4)


def exif_block(orientation=1, **tags):
    """Exif of an invented camera: 2026-05-04 13:30:00 +02:00, 0.5 s, ISO 200, f/4, fixed white balance."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0131], exif[0x0112] = "Made Up", "One", "Ver.1.02", orientation
    taken = exif.get_ifd(0x8769)
    taken[0x9003], taken[0x9011] = "2026:05:04 13:30:00", "+02:00"
    taken[0x829A], taken[0x829D], taken[0x8827] = IFDRational(1, 2), IFDRational(4, 1), 200
    taken[0xA403] = 1
    for name, value in tags.items():
        exif[int(name[1:], 16)] = value
    return exif.tobytes()


def profile(space):
    """An ICC profile of a named space with the sRGB curve."""
    return matrix_profile(space, RGB_TO_XYZ[space])
