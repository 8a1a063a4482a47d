"""Checks of the picture: focus, shake, mist, evenness of the light, and where the samples lie."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.checks import Advice
from glowkin.samples.quality import SMALL_PX

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.look import Look
    from glowkin.light.sharpness import Edge

_SOFT_PX, _SOFT_SHARE = 6.0, 0.008
"""An edge is soft when it is wider than this, and than this share of the picture's width."""
_DIRECTIONS = 8
_SHAKEN, _OTHERS = 1.9, 1.7
_SKIRT, _LIT = 0.17, 0.05
_SMALL_CELLS = 14.0
_FALL_STOPS, _FALL_EXPLAINED, _MIDDLE = 0.55, 0.35, 0.12
_BAND_DEPTH, _BAND_EXPLAINED, _BAND_A_SAMPLE = 0.06, 0.17, 0.5
"""The fewer samples, the more of their unevenness any wave explains."""


def picture_advice(look: Look) -> Iterator[Advice]:
    """Everything about sharpness, evenness and size."""
    if look.nothing:
        return
    yield from _sharpness(look)
    yield from _small(look)
    yield from _at_the_edge(look)
    yield from _uneven(look)


def _sharpness(look: Look) -> Iterator[Advice]:
    """Mist shows as skirts of light, or as soft edges of some samples among sharp ones; else soft edges all
    round are focus, and soft edges one way are shake.
    """
    limit = max(_SOFT_PX, _SOFT_SHARE * look.evidence.photo.size_px[0])
    read = look.edges
    across = sharpest_by_direction(list(read.values()))
    if look.drowned or not np.isfinite(across).any():
        return
    most, least = float(np.nanmax(across)), float(np.nanmin(across))
    dark = look.ground.max() < _LIT * look.level.max()  # lit glass shines by itself
    skirts = [i for i, e in read.items() if dark and e.skirt > _SKIRT]
    soft = [i for i, e in read.items() if most < limit < e.width_px and e.width_px > _OTHERS * most]
    if soft or len(skirts) > (0 if most < limit else 0.5 * len(read)):
        yield _fogged(look, skirts, soft, most)
        return
    if most < limit:
        return
    harm = 0.03 * min(most / float(np.median([e.radius_px for e in read.values()])), 1.0) + 0.01
    if most > _SHAKEN * least:
        sentence = (
            f"A tripod and a remote release: the camera moved by about {most:.0f} pixels "
            f"{_direction(across)} during the exposure."
        )
        yield Advice("shaken", sentence, (), round(most), "px", harm)
    elif least > limit / 1.3:
        sentence = f"Focus on the samples: their edges are {most:.0f} pixels wide all round."
        yield Advice("out-of-focus", sentence, (), round(most), "px", harm)


def sharpest_by_direction(edges: Sequence[Edge]) -> Array:
    """For each of 8 directions (over half a turn) how wide the sharper edges across it are; NaN if unread.

    The sharper third of all samples' edges: one soft sample does not blur the picture.
    """
    if not edges:
        return np.full(_DIRECTIONS, np.nan)
    angle = np.concatenate([e.directions for e in edges]) % np.pi
    widths = np.concatenate([e.widths_px for e in edges])
    which = np.rint(angle / np.pi * _DIRECTIONS).astype(int) % _DIRECTIONS
    out = np.full(_DIRECTIONS, np.nan)
    for k in range(_DIRECTIONS):
        here = widths[(which == k) & np.isfinite(widths)]
        if here.size >= 2:
            out[k] = np.quantile(here, 0.3)
    return out


def _direction(across: Array) -> str:
    k = int(np.nanargmax(across))
    return {0: "sideways", _DIRECTIONS // 2: "up and down"}.get(k, "slantwise")


def _fogged(look: Look, skirts: list[int], soft: list[int], sharp: float) -> Advice:
    names = tuple(look.names[i] for i in sorted({*skirts, *soft}))
    more = "" if len(names) == 1 else f"; {len(names)} samples are so"
    mend = "Let cold vials warm up closed, and wipe them"
    if skirts:
        worst = max(skirts, key=lambda i: look.edges[i].skirt)
        skirt = look.edges[worst].skirt
        seen = (
            f"what surrounds sample {look.names[worst]} glows {100 * skirt:.0f} % as brightly as its edge, "
            "as misted glass does"
        )
        return Advice("fogged", f"{mend}: {seen}{more}.", names, round(100 * skirt), "%", 0.02 + 0.05 * skirt)
    worst = max(soft, key=lambda i: look.edges[i].width_px)
    width = look.edges[worst].width_px
    seen = (
        f"the edge of sample {look.names[worst]} is {width:.0f} pixels wide, {sharp:.0f} elsewhere, as "
        "behind misted glass"
    )
    return Advice("fogged", f"{mend}: {seen}{more}.", names, round(width), "px", 0.03)


def _small(look: Look) -> Iterator[Advice]:
    p = look.evidence.photo.period
    areas = [f.area_px for f in look.evidence.found]
    limit = max(SMALL_PX, _SMALL_CELLS * p * p)
    small = [i for i, area in enumerate(areas) if area < limit]
    if not small:
        return
    i = min(small, key=lambda k: areas[k])
    across = 2.0 * float(np.sqrt(areas[i] / np.pi))
    closer = float(np.sqrt(4.0 * limit / areas[i]))
    names = tuple(look.names[k] for k in small)
    sentence = (
        f"Go {closer:.1f} times closer: of sample {look.names[i]} only {across:.0f} pixels across are clear "
        "of its edge."
    )
    resolution = float(np.nan_to_num(look.resolution[i]))
    yield Advice("sample-too-small", sentence, names, round(across), "px", max(resolution, 0.015))


def _at_the_edge(look: Look) -> Iterator[Advice]:
    names = tuple(n for n, f in zip(look.names, look.evidence.found, strict=True) if f.at_edge)
    if names:
        sentence = f"Step back, or move sample {', '.join(names)} inwards: the frame cuts it."
        yield Advice("edge-of-frame", sentence, names, None, None, 0.004)


def _uneven(look: Look) -> Iterator[Advice]:
    """Fall of light over the frame, or bands: whichever explains the samples' unevenness better."""
    fall, bands = look.fall_off, look.bands
    least = _BAND_EXPLAINED + _BAND_A_SAMPLE / max(len(look.names), 1)
    banded = bands is not None and bands.depth > _BAND_DEPTH and bands.explained > least
    falls = (
        fall is not None
        and len(look.names) > 2
        and fall.fall_stops > _FALL_STOPS
        and fall.explained > _FALL_EXPLAINED
    )
    if fall is not None and falls and not (banded and bands is not None and bands.explained > fall.explained):
        yield _fall_off_words(fall.centre, fall.fall_stops)
    elif bands is not None and banded:
        way = "down" if bands.along_rows else "across"
        sentence = (
            f"1/10 s or longer, or a lamp that does not flicker: {bands.count:.0f} bands {way} the picture "
            f"change the brightness by {100 * bands.depth:.0f} %."
        )
        yield Advice("flicker-banding", sentence, (), round(100 * bands.depth), "%", 0.006)


def _fall_off_words(centre: tuple[float, float], stops: float) -> Advice:
    x, y = centre[0] - 0.5, centre[1] - 0.5
    if max(abs(x), abs(y)) < _MIDDLE:
        sentence = (
            f"Stop the lens down, or keep samples near the middle: the best lit sample gets {stops:.1f} "
            "stops more light than the worst, falling off towards the corners."
        )
        return Advice("vignetting", sentence, (), round(stops, 1), "stops", 0.005)
    side = ("left" if x < 0 else "right") if abs(x) > abs(y) else ("top" if y < 0 else "bottom")
    sentence = (
        f"The lamp farther away and aimed at the middle: it lights the {side} best, and the best lit "
        f"sample gets {stops:.1f} stops more light than the worst."
    )
    return Advice("lamp-hot-spot", sentence, (), round(stops, 1), "stops", 0.005)
