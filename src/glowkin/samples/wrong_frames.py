"""Frames beside a photograph that are not what they were given as: the lamp on, light under the cap.

With the lamp on, a lamp-off frame or a blank shows the samples as the photograph does, and takes them off it.
Under a cap there is nothing to see. Taken off the photograph, such frames leave nothing that is true.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.base.settings import FRAME_KINDS
from glowkin.colour.chromaticity import WHITE_UV_PRIME, WHITISH, XYZ_to_uv_prime
from glowkin.light.masters import Masters, exposure_ratio
from glowkin.samples.find import find_samples

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.bracket import View
    from glowkin.light.linear import Frame
    from glowkin.light.masters import Master
    from glowkin.light.photo import Photograph

_ALL_OF_IT = 0.9
"""A frame that holds this share of every sample's light leaves nothing of them."""
_MUCH_OF_IT, _ALIKE, _SAME_COLOUR = 0.25, 2.0, 0.03
"""The samples' own colours in one proportion are their glow, at another exposure; but white powder in room
light is ``WHITISH`` as that is."""
_BRIGHTER, _TOP = 3.0, 0.995
"""A frame whose brightest parts are so much brighter than the photograph's is no part of its light."""
_SHOWS, _LIT = 0.02, 0.05
"""What a capped frame may show of a sample, as a share of its light, and of light all over, of full scale:
a warm sensor's own signal is smooth across samples, and stays below that (common practice, no source)."""
_WORDS = {
    "lamp_off": (
        "A lamp-off frame with the lamp off: {name} {shows}, as with the lamp on, or in a room so bright "
        "that the samples hardly show in it; it was left out."
    ),
    "lens_capped": "A lens-capped frame in full darkness: {name} {shows}; it was left out.",
    "blank": "A blank with nothing in it that glows: {name} {shows}; it was left out.",
}
_SAMPLES = "shows the samples about as the photograph does"


@dataclass(frozen=True)
class WrongFrame:
    """A frame's kind, as ``lamp_off``, which it is of them, and what is to be changed."""

    kind: str
    number: int
    sentence: str


def frames_meant(masters: Masters | None, scene: View) -> tuple[Masters | None, tuple[WrongFrame, ...]]:
    """The frames given beside a scene, which they are not yet taken off, without those that cannot be meant;
    None where none is left.
    """
    if masters is None:
        return None, ()
    wrong = wrong_frames(scene.photo, scene.frame, masters)
    return _without(masters, wrong) if wrong else masters, wrong


def wrong_frames(photo: Photograph, seen: Frame, masters: Masters) -> tuple[WrongFrame, ...]:
    """The frames that cannot be meant, by what they show where something stands out in the photograph,
    reduced to ``seen``.
    """
    outlines = [found.outline_px for found in find_samples(seen).samples]
    tests = {"lamp_off": _of_samples, "lens_capped": _of_light, "blank": _of_samples}
    found = []
    for kind, test in tests.items():
        for number, frame in enumerate(getattr(masters, kind)):
            fits = frame.linear.shape == seen.linear.shape  # else it is refused
            shows = test(photo, seen, frame, outlines) if fits else ""
            if shows:
                words = _WORDS[kind].format(name=frame.photo.path.name, shows=shows)
                found.append(WrongFrame(kind, number, words))
    return tuple(found)


def _without(masters: Masters, wrong: Sequence[WrongFrame]) -> Masters | None:
    gone = {(w.kind, w.number) for w in wrong}
    left = {
        kind: tuple(f for i, f in enumerate(getattr(masters, kind)) if (kind, i) not in gone)
        for kind in FRAME_KINDS
    }
    return Masters(**left) if any(left.values()) else None


def _of_samples(photo: Photograph, seen: Frame, frame: Master, outlines: Sequence[Array]) -> str:
    """What is wrong with a frame that holds all of every sample's light, or what all of them send out at
    another exposure, or more light than the photograph.
    """
    ratio = exposure_ratio(photo, frame.photo)
    here, there = _light(seen.linear, seen, outlines), ratio * _light(frame.linear, seen, outlines)
    if len(here):
        share = there.max(axis=1) / np.maximum(here.max(axis=1), 1e-9)
        if share.min() > _ALL_OF_IT or _in_proportion(here, there, share, seen.to_xyz):
            return _SAMPLES
    tops = [float(np.quantile(linear.max(axis=2), _TOP)) for linear in (seen.linear, frame.linear)]
    brighter = ratio * tops[1] > _BRIGHTER * max(tops[0], seen.faintest, _LIT)
    return "is brighter than the photograph, as where the two were swapped" if brighter else ""


def _in_proportion(here: Array, there: Array, share: Array, to_xyz: Array) -> bool:
    """Whether several samples show their own colours in a frame, none of them white, all alike strong."""
    if len(here) < 2 or share.min() < _MUCH_OF_IT or share.max() > _ALIKE * share.min():
        return False
    a, b = (XYZ_to_uv_prime(np.maximum(light, 1e-9) @ to_xyz.T) for light in (here, there))
    same = np.hypot(*(a - b).T) < _SAME_COLOUR
    return bool(same.all() and (np.hypot(*(b - WHITE_UV_PRIME).T) > WHITISH).all())


def _of_light(_photo: Photograph, seen: Frame, frame: Master, outlines: Sequence[Array]) -> str:
    """What is wrong with a capped frame that is bright all over, or shows samples against their ground."""
    if float(np.median(frame.linear.max(axis=2))) > _LIT:
        return "is bright all over"
    here, there = (_above_ground(linear, seen, outlines) for linear in (seen.linear, frame.linear))
    told = here > 3.0 * max(seen.faintest, 1e-4)
    shown = told.any() and np.median(there[told] / here[told]) > _SHOWS
    return "shows the samples, dim as they are in it" if shown else ""


def _light(linear: NDArray[np.float32], seen: Frame, outlines: Sequence[Array]) -> Array:
    """Mean light within each outline, n x 3."""
    patches = [seen.patch(outline) for outline in outlines]
    return np.array([cv2.mean(linear[box], mask)[:3] for box, mask in patches], dtype=float).reshape(-1, 3)


def _above_ground(linear: NDArray[np.float32], seen: Frame, outlines: Sequence[Array]) -> Array:
    """By how much each outline is brighter than what lies around it, in its brightest channel (n)."""
    out = []
    for outline in outlines:
        box, mask = seen.patch(outline, margin=6)
        near = cv2.dilate(mask, np.ones((13, 13), np.uint8)) - cv2.dilate(mask, np.ones((5, 5), np.uint8))
        inner, around = (np.array(cv2.mean(linear[box], m)[:3]) for m in (mask, near))
        out.append(float((inner - around).max()))
    return np.array(out)
