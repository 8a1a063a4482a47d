"""Whether frames taken beside a photograph fit it: same settings, same white balance, same framing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.light.masters import exposure_ratio, told_exposures

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from glowkin.light.linear import Frame
    from glowkin.light.masters import Masters
    from glowkin.light.photo import Photograph

_MOVED, _SURE = 1.5, 0.4
"""Pixels of the reduced frames by which the sharpest match is off, and how sharp that must be to count."""

_ANEW = "A new {name} frame, right after, from the same tripod and with the same settings: {file} {why}."


@dataclass(frozen=True)
class Mismatch:
    """What is to be changed of a frame; ``scaled`` where it was exposed otherwise and nothing else, in a raw
    file, whose light is in proportion: scaled, it costs hardly any colour.
    """

    sentence: str
    scaled: bool = False


def mismatches(exposures: Sequence[Photograph], seen: Frame, masters: Masters) -> tuple[Mismatch, ...]:
    """What is to be changed where a frame was taken otherwise than all exposures, reduced to ``seen``.

    A flat may be exposed as it likes, but not through another aperture. Several exposures of one scene need
    room light scaled to each of them, which nothing tells where a file does not tell its exposure. Nor
    do lamp-off frames fit that are all clipped.
    """
    amiss: dict[tuple[str, Path], Mismatch] = {}
    if masters.lamp_off and all(m.clipped for m in masters.lamp_off):
        amiss["lamp-off", masters.lamp_off[0].photo.path] = Mismatch("is clipped")
    for name, frame in masters.named():
        amiss.setdefault((name, frame.path), _taken_otherwise(exposures, name, frame))
    placed = [("lamp-off", m) for m in masters.lamp_off] + [("blank", m) for m in masters.blank]
    untold = not told_exposures([*exposures, *(m.photo for _, m in placed)])
    for name, m in placed:
        if moved(seen.linear, m.linear, seen.faintest):
            amiss[name, m.photo.path] = Mismatch("shows the scene beside its place, so something moved")
        if len(exposures) > 1 and untold:
            amiss[name, m.photo.path] = Mismatch("cannot be scaled, since not all files tell their exposure")
    return tuple(
        replace(m, sentence=_ANEW.format(name=name, file=path.name, why=m.sentence))
        for (name, path), m in amiss.items()
        if m.sentence
    )


def _taken_otherwise(exposures: Sequence[Photograph], name: str, frame: Photograph) -> Mismatch:
    """How a frame differs from the first exposure, by what the files tell; empty where not from all."""
    reasons = [_how_otherwise(photo, name, frame) for photo in exposures]
    return reasons[0] if all(r.sentence for r in reasons) else Mismatch("")


def _how_otherwise(photo: Photograph, name: str, frame: Photograph) -> Mismatch:
    a, b = photo.metadata, frame.metadata
    if name != "lens-capped" and _differ(a.f_number, b.f_number):
        return Mismatch(f"was taken at f/{b.f_number:g}, the photograph at f/{a.f_number:g}")
    if name == "flat":
        return Mismatch("")
    more = 1.0 / exposure_ratio(photo, frame)
    if more != 1.0:
        words = f"got {_times(more)} exposure than the photograph"
        return Mismatch(words, scaled=photo.kind == "raw")
    if _differ(a.exposure_s, b.exposure_s) or _differ(a.iso, b.iso):
        return Mismatch("was taken at another ISO or exposure time")
    balanced = photo.kind == "rendered" and bool(a.automatic_white_balance or b.automatic_white_balance)
    return Mismatch("may have another white balance, which was automatic" if balanced else "")


def _times(more: float) -> str:
    """A ratio of exposures in words.

    >>> [_times(ratio) for ratio in (120.4, 4.0, 1 / 2.83, 1.03)]
    ['120 times more', '4 times more', '2.8 times less', '1.03 times more']
    """
    factor = max(more, 1.0 / more)
    digits = 2 if factor < 2.0 else 1 if factor < 10.0 else 0
    return f"{round(factor, digits):.9g} times {'more' if more > 1.0 else 'less'}"


def _differ(a: float | None, b: float | None) -> bool:
    return a is not None and b is not None and abs(a / b - 1.0) > 0.02


def moved(seen: NDArray[np.float32], frame: NDArray[np.float32], faintest: float = 0.0) -> bool:
    """Whether the edges of two reduced frames fit each other, clearly, but beside their place.

    Lamp on and lamp off look different, but edges of powder, glass and labels lie in one place in both. A
    frame without edges above its own noise fits anywhere, and says nothing.
    """
    a, b = (_edges(linear, faintest) for linear in (seen, frame))
    if a is None or b is None:
        return False
    window = cv2.createHanningWindow((a.shape[1], a.shape[0]), cv2.CV_32F)
    (x, y), sharpness = cv2.phaseCorrelate(a, b, window)
    return bool(np.hypot(x, y) > _MOVED and sharpness > _SURE)


def _edges(linear: NDArray[np.float32], faintest: float) -> NDArray[np.float32] | None:
    """Strength of edges of the logarithm of brightness; None where there is nothing but noise."""
    grey = cv2.GaussianBlur(linear.sum(axis=2), (0, 0), 1.0)
    floor = max(float(np.quantile(grey[::3, ::3], 0.5)), 3.0 * faintest, 1e-4)
    levels = np.log(np.maximum(grey, 0.0) + np.float32(floor))
    strength = cv2.magnitude(cv2.Sobel(levels, cv2.CV_32F, 1, 0), cv2.Sobel(levels, cv2.CV_32F, 0, 1))
    middle, top = np.quantile(strength[::2, ::2], (0.5, 0.995))
    return strength if top > 6.0 * middle + 1e-6 else None
