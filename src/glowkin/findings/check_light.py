"""Checks of how much light, and which: clipping, noise, lamp, room, glowing ground, neighbours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.checks import Advice
from glowkin.base.records import CHANNELS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from glowkin.base.uncertainty import Array
    from glowkin.findings.look import Look

TARGET = 0.6
"""Share of the top that the brightest sample's peak should reach: half of full scale or a little more."""
_LOST = 0.3
_DARK, _DIM = 0.08, 0.02
_RESOLUTION = 0.01
_CELL_SIGNAL = {"raw": 5.0, "rendered": 12.0}
"""Signal over noise of a cell below which noise is seen; developing smooths it, the mean's error stays."""
_STRAY, _CROSS = 0.004, 0.012
"""Shifts in u'v' that matter, by what ``measure`` reckons may lie on a sample: ground, neighbours."""
_GLOWING, _SURELY = 0.06, 0.1
_ABOVE_NOISE, _OF_FAINTEST = 3.0, 1 / 3
"""The ground's light must stand above noise, and of a rendered file above the lowest two codes."""
_VIOLET_U = 0.19


def light_advice(look: Look) -> Iterator[Advice]:
    """Everything about the amount and the kind of light."""
    if look.nothing:
        return
    yield from _clipped(look)
    yield from _too_little(look)
    yield from _noise(look)
    yield from _stray(look)
    yield from _neighbours(look)


def _clipped(look: Look) -> Iterator[Advice]:
    use = look.use
    hit = np.argwhere(use.clipped > 0.001)
    if not len(hit):
        return
    i, c = max(hit, key=lambda at: (use.over_stops[tuple(at)], use.clipped[tuple(at)]))
    over = float(use.over_stops[i, c])
    sure = np.isfinite(over)
    stops = (over if sure else 1.0) - float(np.log2(TARGET))
    names = tuple(look.names[k] for k in sorted({int(k) for k, _ in hit}))
    lost = [
        n for n, m in zip(look.names, look.evidence.emitted.mean, strict=True) if not np.isfinite(m).all()
    ]
    sentence = (
        f"{'' if sure else 'At least '}{stops:.1f} stops less exposure: the {CHANNELS[c]} channel of sample "
        f"{look.names[i]} is clipped{_others(names, look.names[i])}."
    )
    share = float(use.clipped.max())
    rendered = 2.0 if look.evidence.photo.kind == "rendered" else 1.0
    harm = _LOST if lost else rendered * (0.004 + 0.04 * share)
    yield Advice("clipped", sentence, names, round(stops, 1), "stops", harm)


def _others(names: tuple[str, ...], named: str) -> str:
    more = len(names) - (named in names)
    return "" if more <= 0 else f", and {more} other sample{'s' if more > 1 else ''}"


def _too_little(look: Look) -> Iterator[Advice]:
    if not look.names:
        return
    i = int(np.argmax(look.level))
    peak = _peak(look)
    if look.level[i] < _DARK and peak < 0.5 * TARGET:
        stops = float(np.log2(TARGET / max(peak, 1e-5)))
        sentence = (
            f"{stops:.1f} stops more exposure, at the same ISO: the brightest sample, {look.names[i]}, "
            f"reaches only {_percent(peak)} of the scale."
        )
        harm = max(float(np.nanmax(look.resolution, initial=0.0)), 0.02)
        yield Advice("underexposed", sentence, (look.names[i],), round(stops, 1), "stops", harm)
    elif not (look.use.clipped > 0.001).any():
        yield from _too_wide_a_range(look, i)


def _peak(look: Look) -> float:
    """The highest peak of any sample, as a share of the top of the scale."""
    return float((look.use.peak / look.use.top).max())


def _too_wide_a_range(look: Look, brightest: int) -> Iterator[Advice]:
    """A dim sample whose colour more light would tell, beside one that leaves no room for it."""
    i = int(np.argmin(look.level))
    resolution = float(look.resolution[i])
    if look.level[i] > _DIM or not resolution > _RESOLUTION or look.signal[i] < 2.0:
        return
    ratio = float(look.level[brightest] / max(look.level[i], 1e-6))
    sentence = (
        f"Several exposures, or bright and dim samples apart: sample {look.names[brightest]} is "
        f"{ratio:.0f} times brighter than {look.names[i]}, whose colour noise leaves uncertain by "
        f"{resolution:.2g} in u'v'."
    )
    yield Advice(
        "brightness-range", sentence, (look.names[i],), round(ratio, 1), "times", min(resolution, 0.1)
    )


def _noise(look: Look) -> Iterator[Advice]:
    if not look.names:
        return
    e = look.evidence
    i = int(np.argmin(look.signal))
    resolution = float(look.resolution[i])
    grainy = look.signal[i] < _CELL_SIGNAL[e.photo.kind] and resolution > 0.002
    if not (grainy or look.drowned) or resolution < 0.001 or _peak(look) < _DARK:
        return
    iso = e.photo.metadata.iso
    now = f" than {iso:g}" if iso else ""
    sentence = (
        f"Lower ISO{now}, and a longer exposure: noise leaves the colour of sample {look.names[i]} "
        f"uncertain by {resolution:.2g} in u'v' (95 %)."
    )
    harm = max(resolution, 0.6 if look.drowned else 0.015)
    yield Advice("noisy", sentence, (look.names[i],), float(f"{resolution:.2g}"), "u'v'", harm)


def seen_ground(look: Look) -> Array:
    """The light of the ground (3,); zero where it is lost in noise.

    Noise cut off at black, as cameras do before they write a JPEG, has a mean above zero.
    """
    least = np.maximum(_ABOVE_NOISE * look.dark_noise, _OF_FAINTEST * look.frame.faintest)
    return look.ground if (look.ground > least).any() and not look.drowned else np.zeros(3)


def _stray(look: Look) -> Iterator[Advice]:
    """Light of the ground: its own glow, the lamp's violet, or the room's."""
    if not look.names:
        return
    dark = seen_ground(look)
    if not dark.any():
        return
    shift = look.shift(look.evidence.stray.may_hold("lamp", "cut", "room"))
    i = int(np.argmax(shift))
    share = float(dark.max() / look.level.max())
    if shift[i] < _STRAY and share < _GLOWING:
        return
    cause = _which(look, dark, share)
    harm = max(float(shift[i]), 0.02 if share > _GLOWING else 0.0)
    hit = tuple(n for n, s in zip(look.names, shift, strict=True) if s > _STRAY)
    yield Advice(cause, _stray_words(cause, look, i, share, harm), hit, round(100 * share, 2), "%", harm)


def _which(look: Look, dark: Array, share: float) -> str:
    if look.evidence.stray.of_room.sum() > 0.5 * dark.sum():
        return "room-light"
    u = look.evidence.camera.infer(dark[None], np.zeros((1, 3, 3))).uv_prime[0, 0]
    return "glowing-background" if share > (_GLOWING if u < _VIOLET_U else _SURELY) else "lamp-leakage"


def _stray_words(cause: str, look: Look, i: int, share: float, harm: float) -> str:
    amount = f"the ground is {_percent(share)} as bright as the brightest sample"
    pull = f"and may pull the colour of sample {look.names[i]} by {_far(harm)} in u'v'"
    if cause == "room-light":
        return f"A darker room, or a lamp-off frame: room light lies on the scene; {amount}, {pull}."
    if cause == "glowing-background":
        return (
            "Matt black card that stays dark under the lamp: the ground itself glows, or scatters the lamp's "
            f"light; {amount}."
        )
    mend = "A UV-blocking filter before the lens, or a cleaner lamp filter"
    return f"{mend}: the lamp's violet shows; {amount}, {pull}."


def _far(distance: float) -> str:
    """A distance in u'v', which is reckoned to first order and so to 0.5 at most."""
    return f"{distance:.2g}" if distance < 0.5 else "0.5 or more"


def _neighbours(look: Look) -> Iterator[Advice]:
    e = look.evidence
    if len(look.names) < 2:
        return
    shift = look.shift(e.stray.may_hold("neighbours"))
    i = int(np.argmax(shift))
    if shift[i] < _CROSS:
        return
    light = np.nan_to_num(e.emitted.mean, nan=1.0)
    j = _lights_most(
        light, np.array([f.area_px for f in e.found]), np.array([f.centre_px for f in e.found]), i
    )
    ratio = float(light[j].max() / max(light[i].max(), 1e-6))
    brighter = f"{look.names[j]} is {ratio:.0f} times brighter, and its light"
    sentence = (
        f"Samples {look.names[i]} and {look.names[j]} farther apart, or black card between them: "
        f"{brighter if ratio >= 1.5 else f'the light of {look.names[j]}'} may pull the colour of "
        f"{look.names[i]} by {_far(float(shift[i]))} in u'v'."
    )
    yield Advice("lit-by-neighbour", sentence, (look.names[i],), round(ratio, 1), "times", float(shift[i]))


def _lights_most(light: Array, area: Array, centre: Array, i: int) -> int:
    """Which other sample sends the i-th most light: by brightness, area, and distance squared."""
    squared = np.square(centre - centre[i]).sum(axis=1)
    return int(np.argmax(np.where(squared > 0, light.max(axis=1) * area / np.maximum(squared, 1.0), 0.0)))


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 1 else f"{100 * share:.2g} %"
