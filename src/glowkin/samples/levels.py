"""Connected patches of a picture at many levels, and which of them have an edge.

The picture is cut at many levels from bright to dark. A glowing sample has a steep edge: over a wide
range of levels the connected patch around it hardly grows. A halo has none: its patch grows with every
level. So each patch is followed down the levels, and kept where its area is most stable (maximally
stable extremal regions, Matas et al., Image Vis. Comput. 22, 761, 2004), on a logarithmic scale so that a
dim sample counts as much as one many times brighter.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEADY = 0.55
"""Growth, in natural logarithm of area over two levels, up to which a patch has an edge."""
LEAST_AREA = 20
_STEP, FINER = 1.45, 1.2
_SPAN = 2
_LOWEST, _OVER_GROUND = 6.0, 2.8
"""Level of the faintest patch taken, also in multiples of the ground's own; two more below only tell
whether it grows."""
_MOST_LEVELS = 48


@dataclass(eq=False)
class Patch:
    """A connected patch at one level: its pixels are ``label`` in the picture of that ``level``.

    ``seed`` is one of its pixels (row, column), ``box`` left, top, width, height, ``length`` of its contour;
    ``children`` are those of the level above within it; a ``faint`` one only tells how others grow.
    """

    level: int
    label: int
    area: int
    box: tuple[int, int, int, int]
    seed: tuple[int, int]
    children: list[Patch] = field(default_factory=list)
    length: float = 1.0
    growth: float = np.inf
    faint: bool = False


@dataclass(frozen=True, eq=False)
class Levels:
    """The ``picture``, labelled at each level from bright to dark, and the ``roots``, the lowest patches."""

    picture: NDArray[np.float32]
    labels: list[NDArray[np.int32]]
    roots: list[Patch]

    def around(self, patch: Patch, reach: int) -> tuple[tuple[slice, slice], NDArray[np.int32]]:
        """The box of a patch with a margin, and the labels of its level there."""
        left, top, width, height = patch.box
        box = np.s_[max(top - reach, 0) : top + height + reach, max(left - reach, 0) : left + width + reach]
        return box, self.labels[patch.level][box]


def cut(picture: NDArray[np.float32], step: float = _STEP, blur_px: float = 1.0) -> Levels:
    """Cut a picture, in units of its ground's unrest, at levels from bright to dark, each by ``step`` lower.

    An edge may be as blurred as ``blur_px``.
    """
    labels: list[NDArray[np.int32]] = []
    chains: list[list[Patch]] = []
    ground, top = (float(q) for q in np.quantile(picture[::2, ::3], (0.45, 0.9995)))
    faintest, level = max(_LOWEST, _OVER_GROUND * ground), top / step
    lowest = faintest / step**_SPAN if step < _STEP else faintest
    while level > lowest and len(labels) < _MOST_LEVELS:
        faint = level < faintest
        mask = (picture > level).view(np.uint8)
        _, label = cv2.connectedComponents(mask, connectivity=8)
        here = _patches(mask, label, (len(labels), faint))
        by_label = {patch.label: patch for patch in here}
        for patch in chains[-1] if chains else []:
            by_label[int(label[patch.seed])].children.append(patch)
        labels.append(label)
        chains.append(here)
        level /= step
    _measure_growth(chains, float(np.log(_STEP) / np.log(step)), blur_px)
    return Levels(picture, labels, chains[-1] if chains else [])


def _patches(mask: NDArray[np.uint8], label: NDArray[np.int32], at: tuple[int, bool]) -> list[Patch]:
    """The patches of one level that are large enough, from their outer contours (holes count as filled)."""
    contours, hierarchy = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    for contour, (_, _, _, inside_of) in zip(contours, hierarchy[0] if contours else (), strict=True):
        if inside_of >= 0 or len(contour) < 4:
            continue
        length = cv2.arcLength(contour, closed=True)
        area = int(cv2.contourArea(contour) + 0.5 * length + 1)
        if area >= LEAST_AREA:
            x, y = (int(v) for v in contour[0, 0])
            level, faint = at
            seed, box = (y, x), cv2.boundingRect(contour)
            found.append(Patch(level, int(label[y, x]), area, box, seed, length=length, faint=faint))
    return found


def _measure_growth(chains: list[list[Patch]], steps: float, blur_px: float) -> None:
    """How much each patch grows, in natural logarithm of area, over the next few levels down.

    A small sample grows much although its edge, no sharper than the lens, moves little: that counts as well.
    Of finer levels, ``steps`` to the usual one, growth is reckoned as if it went on.
    """
    area_below: dict[int, list[int]] = {}
    for here in reversed(chains):
        for patch in here:
            below = area_below.get(id(patch), [])
            if len(below) >= _SPAN:
                grown = below[_SPAN - 1]
                step_px = (grown - patch.area) / patch.length
                patch.growth = steps * min(float(np.log(grown / patch.area)), STEADY * step_px / blur_px)
            for child in patch.children:
                area_below[id(child)] = [patch.area, *below[: _SPAN - 1]]
