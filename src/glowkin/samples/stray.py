"""Stray light on the samples: what of it the picture tells, and how uncertain that is.

The dark ground tells the colour of what the lamp and the room throw on everything, not how much of it the
powder sends back: white powder sends back several times more of the lamp's violet than black cloth does, and
many times more of the room's light. Light from brighter neighbours, scattered in the lens or thrown on the
powder, is told by how it lies on the dark ground (``veil``), and its amount on a sample by how the sample's
own colour changes towards the neighbour (``slope``). What likely lies on a sample is taken off; how
uncertain that is, is carried as error along its colour, each sample's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.samples.slope import amount
from glowkin.samples.veil import fit_veil

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame
    from glowkin.light.region import Signals
    from glowkin.samples.veil import Veil

_LAMP, _LAMP_SD = 2.0, 2.0
"""The lamp's own light on a sample in multiples of the dark ground's (common practice, no source)."""
_ROOM, _ROOM_SD = 15.0, 8.0
"""Room light on a sample in multiples of the ground's: white powder sends back 0.4-0.9 of it, black cloth
0.02-0.06 (common practice, no source)."""
_ROOM_RIVALS = {"raw": 1 / 2, "rendered": 1 / 3}
"""Share of what a sample shows from which on the room's light leaves no colour told: beyond it 95 % regions
hold the true colour in half the cases or fewer (``benchmarks/stray.py``)."""
_BLANK, _BLANK_SD = 1.0, 0.6
"""Lamp light on a sample in multiples of a blank's in the same place: powders differ, and glass sends back
less than powder (common practice, no source)."""
_ROOM_UNSEEN = 1.0 / 24.0
"""A quarter of a code, in shares of the sixth: what light of the room dark ground may hold in a rendered file
without showing it, one standard deviation (a rectangular distribution over a code has 0.29)."""
_ROOM_BLUE_SD = 0.4
"""Error of the room's blue, as a share: white LEDs of one warmth differ so (as ``_WARMEST``)."""
_ROOM_LEFT = {"raw": 0.02, "rendered": 0.1}
"""What a lamp-off frame may leave of the room's light."""
_VEIL, _VEIL_SD = 1.0, 8.0
"""Neighbours' light on a sample in multiples of the veil seen on dark ground: 1 what the lens scatters, up to
some 20 what neighbours throw on white powder."""
_SHAPE, _SHAPE_UNSEEN = 0.4, 0.6
"""Error of what is taken off so, as a share, the pattern seen on the ground, or taken from distance alone:
the powder stands up, the ground lies flat."""
_CROSS_SD = 0.012
"""Light a neighbour may throw on a sample, as a share of its own, for distances of the root of its area:
powder facing powder sends on about a hundredth (common practice, no source)."""
_UNSEEN = 20.0 / 12.0
"""Neighbours' light on a sample in multiples of the sixth step, where dark ground shows less than half a code
of it: white powder sends back up to some 20 times more. It bounds most where a bracket's long exposures see
the ground."""
_VIOLET_R, _VIOLET_G = 0.24, 0.15
"""Red and green of lamp violet at most, in units of white, for a blue of 1: 95 % of 26 measured cameras at
400-420 nm; brighteners' glow near 440 nm has half the red and up to twice the green."""
_VIOLET_G_USUAL = 0.11
"""Median of the same: what is taken for the lamp's where room light shows beside it."""
_ROOM_BLUE = 0.1
"""Blue of room light at least, in units of white, for red and green of 1: incandescent light of 2700 K holds
0.24 of the smaller of them in linear sRGB (by Planck's law and the CIE 1931 functions)."""
_CUT, _CUT_SD = -0.12, 0.08
"""What a channel cut at zero truly holds, in units of the highest: green of 400-420 nm in linear sRGB is
-0.14 of blue by the CIE 1931 functions."""

_ROOM_SEEN = 1.0 / 12.0
"""Half a code, in shares of the sixth: less room light on a rendered ground is not told from rounding."""
_WARMEST, _COOLEST = 0.3, 1.4
"""Green of room light in units of white, for a red of 1, from a warm white LED to a screen. Its blue is about
the square of that (Planck's law, CIE FL2, invented LEDs and a screen; in raw and in sRGB of 26 measured
cameras: 0.7 to 1.5 times)."""
_MOST_TAKEN = 0.5

KINDS = ("lamp", "cut", "room", "neighbours", "around", "ghost", "hidden")
"""Light of the lamp itself, the part of it that lies outside the file's colours, of the room, of neighbours,
whatever else is seen around a sample, reflections in the lens, and what of the room does not show."""


@dataclass(frozen=True)
class Stray:
    """Stray light on each of n samples: what is expected, and its error, a column for each of ``KINDS``.

    ``taken`` and ``loadings`` (n x 3 x kinds). ``ground`` (3) is the dark ground's own light, ``of_room`` (3)
    what of it is the room's, ``quarters`` (4 x 2) its blue in each quarter of the frame and its error.
    """

    taken: Array
    loadings: Array
    ground: Array
    of_room: Array
    quarters: Array

    @property
    def level(self) -> Array:
        """What is expected of all kinds together, n x 3."""
        return np.asarray(self.taken.sum(axis=2))

    def of(self, *kinds: str) -> Array:
        """The loadings of these kinds, n x 3 x kinds."""
        return self.loadings[:, :, [KINDS.index(kind) for kind in kinds]]

    def rivalled(self, seen: Array, kind: str) -> NDArray[np.bool_]:
        """Where room light is likely so much of what is ``seen`` (n x 3) that nothing else is told (n)."""
        with np.errstate(invalid="ignore"):
            return np.asarray(_ROOM * self.of_room.sum() > _ROOM_RIVALS[kind] * seen.sum(axis=1))

    def may_hold(self, *kinds: str) -> Array:
        """Light of these kinds that may well lie on each sample (n x 3): expected, and one error more."""
        of = [KINDS.index(kind) for kind in kinds]
        return np.asarray(self.taken[:, :, of].sum(axis=2) + np.linalg.norm(self.loadings[:, :, of], axis=2))


def surroundings(
    frame: Frame,
    outlines: list[Array],
    glowing: Sequence[Array] = (),
    patches: Sequence[Array] = (),
    white: Array | None = None,
    room_taken: bool = False,
) -> Stray:
    """Stray light on each outline from what the reduced photograph shows around and across them.

    ``glowing`` are outlines of whatever else glows: around an outline drawn within a sample lies the sample,
    and its own light is no stray light on it. ``patches`` are the outlines' blocks (as in ``Signals``),
    ``white`` (3) the camera's answer to a white surface. Where a lamp-off frame has taken the room's light
    off (``room_taken``), what the ground still sends is the lamp's.
    """
    n = len(outlines)
    veil = fit_veil(frame, outlines, glowing)
    lamp, cut, room = ground_light(frame, veil, np.ones(3) if white is None else white, room_taken)
    taken, loadings = np.zeros((n, 3, len(KINDS))), np.zeros((n, 3, len(KINDS)))
    blind = veil.blind(frame.faintest)
    unseen = _ROOM_UNSEEN * frame.faintest * np.ones(3) + _ROOM_BLUE_SD * room * (0.0, 0.0, 1.0)
    sources = _sources(frame, [*glowing] or outlines) if blind else None
    for i, outline in enumerate(outlines):
        blocks = patches[i] if len(patches) else np.zeros((0, 6))
        points, weights = _places(outline, blocks)
        reflected = veil.ghost_on(points)
        thrown, error = _neighbours(veil, i, outline, _without(blocks, reflected[0]), sources, frame.faintest)
        (around, around_sd), (ghost, ghost_sd) = veil.around(i), (weights @ g for g in reflected)
        of_lamp, of_room = (_LAMP * _fitting(_LAMP * lamp, blocks), _ROOM * _fitting(_ROOM * room, blocks))
        may_be = _ROOM * room * _fitting(_ROOM * room, blocks, frame.faintest)
        # Of what does not show no more than any channel holds: else no saturated colour would be told.
        hidden = _ROOM * unseen * _fitting(_ROOM * unseen, blocks)
        nothing = np.zeros(3)
        taken[i] = np.stack([
            of_lamp * lamp, nothing, of_room * room, thrown, around, ghost,
            nothing,
        ], axis=1)  # fmt: skip
        loadings[i] = np.stack([
            of_lamp * _LAMP_SD / _LAMP * lamp, of_lamp * cut, _ROOM_SD / _ROOM * may_be,
            error, around_sd, ghost_sd, hidden,
        ], axis=1)  # fmt: skip
    return Stray(taken, loadings, np.clip(veil.ground, 0.0, None), room, veil.quarters)


def ground_light(
    frame: Frame, veil: Veil, white: Array, room_taken: bool = False
) -> tuple[Array, Array, Array]:
    """The dark ground's light (3 each): the lamp's, an error of channels cut at zero, and the room's.

    Room light holds red, green and some blue; without blue it is the ground's own glow, as a gel's. Lamp
    violet and brighteners' blue hold little of at least one of red and green: what both channels hold beyond
    that is the room's. In a rendered file violet holds less green than none, and the file shows what room
    light leaves of it.
    """
    seen = np.clip(veil.ground, 0.0, None)
    faintest, unrest = frame.faintest, 0.3 * (veil.spread / white)[:2].max()
    red, green, blue = seen / white
    told = min(green - (_CUT if faintest else _VIOLET_G) * blue, red - _VIOLET_R * blue)
    own_glow = blue + faintest < _ROOM_BLUE * min(red, green)
    if room_taken or own_glow or told <= max(unrest, _ROOM_SEEN * faintest):
        cut = seen < faintest / 12.0
        lamp = np.where(cut, _CUT * seen.max(), seen)
        return lamp, np.where(cut, _CUT_SD * seen.max(), 0.0), np.zeros(3)
    of_room = white * _room_colour(red, green, blue, _CUT if faintest else _VIOLET_G_USUAL)
    lamp = seen - of_room
    return lamp, np.array([0.0, _CUT_SD * lamp[2] if faintest else 0.0, 0.0]), of_room


def _room_colour(red: float, green: float, blue: float, violet_green: float) -> Array:
    """What of the ground's light (units of white) is the room's, its blue by how warm its light is.

    The lamp's violet is what blue is left then; both are found together, in steps that close up.
    """
    violet = blue
    for _ in range(12):
        r = red - _VIOLET_R * violet
        g = float(np.clip(green - violet_green * violet, _WARMEST * r, _COOLEST * r))
        g = min(g, green - min(violet_green, 0.0) * violet)
        b = min(g * g / r, blue)
        violet = 0.5 * (violet + blue - b)
    return np.array([r, g, b])


def _fitting(light: Array, blocks: Array, cut: float = 0.0) -> float:
    """How much of this light (3) a sample of these blocks can hold and be left with half of its own.

    Channels no higher than ``cut`` tell nothing: a rendered file cuts what lies outside its colours.
    """
    if not len(blocks):
        return 1.0
    seen = np.clip(blocks[:, 2] @ blocks[:, 3:] / blocks[:, 2].sum(), 0.0, None)
    telling = (light > 0) & (seen >= cut)
    return float(min(1.0, _MOST_TAKEN * (seen[telling] / light[telling]).min(initial=np.inf)))


def _places(outline: Array, blocks: Array) -> tuple[Array, Array]:
    """Points (m x 2, pixels) of a sample and their weights (m): its blocks, or its middle without any."""
    if not len(blocks):
        return outline.mean(axis=0, keepdims=True), np.ones(1)
    return blocks[:, :2], blocks[:, 2] / blocks[:, 2].sum()


def _without(blocks: Array, light: Array) -> Array:
    """The blocks without light (m x 3) that lies on them."""
    return np.hstack([blocks[:, :3], blocks[:, 3:] - light]) if len(blocks) else blocks


def _times(light: Array, blocks: Array, faintest: float) -> float:
    """How many times this light (3) fits into all that a sample of these blocks shows, two codes allowed."""
    if not len(blocks) or not (light > 0).any():
        return np.inf
    seen = np.clip(blocks[:, 2] @ blocks[:, 3:] / blocks[:, 2].sum(), 0.0, None) + faintest / 3.0
    return float((seen[light > 0] / light[light > 0]).min())


def _neighbours(
    veil: Veil, i: int, outline: Array, blocks: Array, sources: _Sources | None, faintest: float
) -> tuple[Array, Array]:
    """Neighbours' light on the i-th sample (3), and its error (3).

    A ground too dark for the file to show any veil leaves the pattern to distance from the ``sources``.
    """
    points, weights = _places(outline, blocks)
    pattern, believed, sd, shape = veil.on(i, points), _VEIL, _VEIL_SD, _SHAPE
    if sources is not None:
        pattern, believed, sd, shape = _CROSS_SD * sources.on(outline, points), 0.0, 1.0, _SHAPE_UNSEEN
    mean = weights @ pattern
    if sources is not None:
        sd = min(sd, _UNSEEN * faintest / max(float(mean.max()), 1e-12))
    most = _times(mean, blocks, faintest)
    if most == 0.0:
        return np.zeros(3), np.zeros(3)
    q, error = amount(blocks, pattern, min(believed, 0.5 * most), min(sd, most))
    q, error = min(max(q, 0.0), most), min(error, most)
    return q * mean, np.hypot(error, shape * q) * mean


@dataclass(frozen=True)
class _Sources:
    """What glows: mean light (n x 3), area (n, px) and centre (n x 2, px)."""

    light: Array
    area: Array
    centre: Array

    def on(self, outline: Array, points: Array) -> Array:
        """Light thrown on points (m x 3) by all that does not lie within the outline, by distance squared."""
        here = _centre(outline)[1]
        own = np.square(self.centre - here).sum(axis=1) <= self.area / np.pi
        squared = np.square(points[:, None] - self.centre).sum(axis=2)
        share = np.where(own, 0.0, self.area / np.maximum(squared, self.area / np.pi))
        return np.asarray(share @ self.light)


def _sources(frame: Frame, outlines: Sequence[Array]) -> _Sources:
    patches = [frame.patch(s) for s in outlines]
    light = np.array([cv2.mean(frame.linear[box], mask)[:3] for box, mask in patches]).reshape(-1, 3)
    shapes = [_centre(s) for s in outlines]
    area, centre = np.array([a for a, _ in shapes]), np.array([c for _, c in shapes]).reshape(-1, 2)
    return _Sources(np.clip(light, 0.0, None), area, centre)


def _centre(outline: Array) -> tuple[float, Array]:
    """Area and centre of a polygon."""
    m = cv2.moments(np.asarray(outline, dtype=np.float32))
    return m["m00"], np.array([m["m10"], m["m01"]]) / (m["m00"] or 1.0)


def with_frames(stray: Stray, blank: Array | None, room: Array, kind: str) -> Stray:
    """The same with what frames taken beside the photograph tell.

    ``blank`` (n x 3, or None) is the lamp's light where each sample stands and takes the place of the
    surroundings' guess; of the ``room`` light (n x 3) that was taken off, a share may be left.
    """
    taken, loadings = stray.taken.copy(), stray.loadings.copy()
    if blank is not None:
        known = np.isfinite(blank)
        taken[:, :, 0] = np.where(known, _BLANK * blank, taken[:, :, 0])
        loadings[:, :, 0] = np.where(known, _BLANK_SD * blank, loadings[:, :, 0])
        loadings[:, :, 1] = np.where(known, 0.0, loadings[:, :, 1])
    loadings[:, :, 2] += _ROOM_LEFT[kind] * room
    if room.any():
        loadings[:, :, KINDS.index("hidden")] = 0.0
    return replace(stray, taken=taken, loadings=loadings)


def remove(seen: Signals, stray: Stray, *, cut: bool = False) -> Signals:
    """The signals without the stray light expected on them; what that is uncertain by stays apart.

    Where frames were taken off a rendered file, what is then below zero is ``cut`` there as the file itself
    would have cut it: light of the room lifts into the file's colours what lies outside of them.
    """
    mean = seen.mean - stray.level
    return replace(seen, mean=np.maximum(mean, 0.0) if cut else mean)
