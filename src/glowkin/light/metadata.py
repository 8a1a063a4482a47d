"""What a file says of its taking: time, exposure, white balance, maker.

Only what a measurement needs is read; GPS and serial numbers are never taken up, so nothing downstream
can leak them.
"""

from __future__ import annotations

import io
import math
import re
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

_EXIF_IFD, _INTEROP_IFD = 0x8769, 0xA005
_TIME_IN_NAME = re.compile(
    r"(?<!\d)(\d{4})[-_.]?(\d{2})[-_.]?(\d{2})[T_ -](\d{2})[-_.:h]?(\d{2})"
    r"(?:[-_.:m]?(\d{2})(?:\d{3})?)?(?!\d)"
)


@dataclass(frozen=True)
class Metadata:
    """Exif figures of one photograph; None where the file is silent.

    ``taken_at`` is ISO 8601, with a zone only where the file tells one.
    """

    taken_at: str | None = None
    exposure_s: float | None = None
    iso: float | None = None
    f_number: float | None = None
    automatic_white_balance: bool | None = None
    make: str = ""
    model: str = ""
    software: str = ""
    merged: bool = False
    orientation: int = 1
    colour_space: str | None = None


def exif_of(block: bytes) -> Any:
    """A Pillow Exif mapping of a bare Exif block, with or without 'Exif' before it; empty if broken."""
    from PIL import Image

    exif = Image.Exif()
    try:
        exif.load(block if block.startswith(b"Exif\x00\x00") else b"Exif\x00\x00" + block)
    except (SyntaxError, OSError, ValueError, KeyError, struct.error):
        return Image.Exif()
    return exif


def tiff_tags(data: bytes) -> Any:
    """The tags of a TIFF file, of most makers' raw files too, as a Pillow Exif mapping; empty if broken."""
    from PIL import Image

    exif = Image.Exif()
    try:
        exif.load_from_fp(io.BytesIO(data))
    except (SyntaxError, OSError, ValueError, KeyError, struct.error):
        return Image.Exif()
    return exif


def read_metadata(exif: Any, path: Path) -> Metadata:
    """Metadata from a Pillow ``Exif`` mapping; the file's name is the last resort for the time."""
    taken = exif.get_ifd(_EXIF_IFD) if exif else {}
    white_balance = taken.get(0xA403)
    orientation = exif.get(0x0112, 1) if exif else 1
    return Metadata(
        taken_at=_time(exif, taken) or time_in_name(path.name),
        exposure_s=_positive(taken.get(0x829A)),
        iso=_positive(taken.get(0x8827)),
        f_number=_positive(taken.get(0x829D)),
        automatic_white_balance=None if white_balance is None else white_balance == 0,
        make=_text(exif.get(0x010F)) if exif else "",
        model=_text(exif.get(0x0110)) if exif else "",
        software=_text(exif.get(0x0131)) if exif else "",
        merged=_merged(taken.get(0xA401)),
        orientation=orientation if orientation in range(1, 9) else 1,
        colour_space=_colour_space(exif, taken),
    )


def time_in_name(name: str) -> str | None:
    """The time written in a file name such as 2026-05-04T13-30-00.jpg, to the second, or None."""
    match = _TIME_IN_NAME.search(name)
    if not match:
        return None
    year, month, day, hour, minute, second = (int(g or 0) for g in match.groups())
    return _iso(f"{year:04}:{month:02}:{day:02} {hour:02}:{minute:02}:{second:02}")


def _time(exif: Any, taken: Any) -> str | None:
    """Original capture time with its zone, else the file's date tag."""
    original = _iso(taken.get(0x9003), taken.get(0x9011))
    if original is None and exif:
        return _iso(exif.get(0x0132), taken.get(0x9010))
    return original


def _iso(stamp: Any, zone: Any = None) -> str | None:
    from datetime import datetime

    try:
        when = datetime.strptime(_text(stamp), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    zone = _text(zone)
    return when.isoformat() + (zone if re.fullmatch(r"[+-]\d\d:\d\d", zone) else "")


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return str(value or "").replace("\x00", "").strip()


def _positive(value: Any) -> float | None:
    if isinstance(value, tuple | list):
        value = value[0] if value else None
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _merged(custom_rendered: Any) -> bool:
    """Exif CustomRendered above 1: phones write there that frames were merged (common practice)."""
    return isinstance(custom_rendered, int) and custom_rendered > 1


def _colour_space(exif: Any, taken: Any) -> str | None:
    """The colour space told by tag: ColorSpace 1 is sRGB, interoperability R03 Adobe RGB (DCF 2.0)."""
    if taken.get(0xA001) == 1:
        return "sRGB"
    interop = exif.get_ifd(_INTEROP_IFD) if exif else {}
    if _text(interop.get(1)) == "R03":
        return "Adobe RGB (1998)"
    return None
