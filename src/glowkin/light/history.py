"""Signs that a rendered file is not what the camera wrote at the shot: frames merged, or saved by an editor.

Merged: Exif CustomRendered above 1 (phones write there that frames were merged; common practice), a gain
map beside the picture, or a digital source type of several captures (IPTC NewsCodes: compositeCapture,
computationalCapture and the like). Edited: Exif ProcessingSoftware or TIFF/EP ImageHistory, an editing
history or an origin in another document in XMP, a change date more than a minute after the capture, or a
Software tag that names an editing program. A picture passed through an editor that leaves none of these
looks untouched.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from glowkin.light.metadata import Metadata

_MERGED = re.compile(
    rb"digitalsourcetype/\w*(composite|computational|algorithmic)|hdrgm:Version|HDRGainMap", re.I
)
_EDITED = re.compile(rb"xmpMM:(History|DerivedFrom)|stEvt:action|crs:HasSettings", re.I)
_EDITORS = re.compile(
    r"photoshop|lightroom|gimp|snapseed|darktable|rawtherapee|capture one|affinity|paint\.net|imagemagick|"
    r"picasa|luminar|acdsee|pixelmator|facetune|vsco|krita|irfanview|xnview|photoscape|camera raw|editor",
    re.IGNORECASE,
)
"""Programs that change pictures; a camera's own Software tag is a firmware version."""
_A_WHILE = timedelta(minutes=1)


def history_flags(metadata: Metadata, exif: Any, xmp: bytes, *, gain_map: bool = False) -> tuple[str, ...]:
    """``merged-by-phone`` and ``edited-file``, each where a sign of it is found."""
    merged = metadata.merged or gain_map or bool(_MERGED.search(xmp))
    edited = bool(_EDITED.search(xmp)) or bool(_EDITORS.search(metadata.software)) or _rewritten(exif)
    return (*(("merged-by-phone",) if merged else ()), *(("edited-file",) if edited else ()))


def xmp_marks(xmp: bytes) -> list[bytes]:
    """The signs of merging and editing that XMP holds, each once."""
    found = [m.group() for sign in (_MERGED, _EDITED) for m in sign.finditer(xmp)]
    return list(dict.fromkeys(found))


def _rewritten(exif: Any) -> bool:
    """ProcessingSoftware (Exif 0x000B), ImageHistory (TIFF/EP 0x9213), or changed well after the shot."""
    taken = exif.get_ifd(0x8769) if exif else {}
    if not exif or exif.get(0x000B) or exif.get(0x9213) or taken.get(0x9213):
        return bool(exif)
    shot, changed = _stamp(taken.get(0x9003)), _stamp(exif.get(0x0132))
    try:
        exposure = timedelta(seconds=float(taken.get(0x829A) or 0))
    except (TypeError, ValueError, OverflowError, ZeroDivisionError):
        exposure = timedelta()
    return shot is not None and changed is not None and changed - shot > exposure + _A_WHILE


def _stamp(value: Any) -> datetime | None:
    try:
        return datetime.strptime(str(value).strip("\x00 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
