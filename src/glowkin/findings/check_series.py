"""What only a comparison of photographs tells: settings that changed, and a camera that moved."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.checks import Advice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.check import CheckedShot

_EXPOSURE_STOPS = 0.15
_NEAR, _MOVED = 0.12, 0.006
"""Shares of the frame's diagonal: samples this near are the same; a common shift this large is a move."""
_BALANCE, _OPEN, _AGREE = 0.05, 0.01, 0.4


def series_advice(shots: Sequence[CheckedShot]) -> list[list[Advice]]:
    """For each photograph what sets it apart from the first one taken by the same camera."""
    firsts: dict[str, CheckedShot] = {}
    for shot in sorted(shots, key=lambda s: s.check.taken_at or ""):
        firsts.setdefault(shot.camera, shot)
    return [_against(shot, firsts[shot.camera]) for shot in shots]


def _against(shot: CheckedShot, first: CheckedShot) -> list[Advice]:
    if shot is first:
        return []
    moved = _matched(shot, first)
    found = (_exposure(shot, first), _balance(shot, first, moved), _move(shot, first, moved))
    return [advice for advice in found if advice is not None]


def _exposure(shot: CheckedShot, first: CheckedShot) -> Advice | None:
    here, there = (_light_let_in(s) for s in (shot, first))
    if here is None or there is None or abs(float(np.log2(here / there))) < _EXPOSURE_STOPS:
        return None
    stops = float(np.log2(here / there))
    sentence = (
        f"The exposure of {_name(first)} for the whole series: this one got {abs(stops):.1f} stops "
        f"{'more' if stops > 0 else 'less'}."
    )
    return Advice("exposure-changed", sentence, (), round(stops, 1), "stops", 0.008)


def _light_let_in(shot: CheckedShot) -> float | None:
    c = shot.check
    if not (c.exposure_s and c.iso and c.f_number):
        return None
    return c.exposure_s * c.iso / c.f_number**2


def _matched(shot: CheckedShot, first: CheckedShot) -> list[tuple[int, int]]:
    """Pairs of samples nearest to each other in both photographs."""
    if not len(shot.centres_px) or not len(first.centres_px):
        return []
    apart = np.linalg.norm(shot.centres_px[:, None] - first.centres_px[None], axis=2)
    limit = _NEAR * _diagonal(shot)
    nearest, back = apart.argmin(axis=1), apart.argmin(axis=0)
    return [(i, int(j)) for i, j in enumerate(nearest) if back[j] == i and apart[i, j] < limit]


def _diagonal(shot: CheckedShot) -> float:
    width, height = shot.camera.rsplit(", ", 1)[1].split(" x ")
    return float(np.hypot(int(width), int(height)))


def _move(shot: CheckedShot, first: CheckedShot, pairs: list[tuple[int, int]]) -> Advice | None:
    if not pairs:
        return None
    i, j = np.transpose(pairs)
    shift = np.median(shot.centres_px[i] - first.centres_px[j], axis=0)
    length = float(np.hypot(*shift))
    if length < _MOVED * _diagonal(shot):
        return None
    sentence = f"A tripod or a marked place: the camera moved by {length:.0f} pixels since {_name(first)}."
    return Advice("moved", sentence, (), round(length), "px", 0.002)


def _balance(shot: CheckedShot, first: CheckedShot, pairs: list[tuple[int, int]]) -> Advice | None:
    """All samples shifted in colour together: one sample alone may have changed itself."""
    if shot.check.kind == "raw":
        return None
    shift = _common_shift(shot.rgb, first.rgb, pairs)
    if shift is not None:
        why = f"since {_name(first)} red against blue changed by {100 * shift:.0f} % in all samples"
        sentence = f"White balance fixed for the whole series: {why}."
        return Advice("white-balance-changed", sentence, (), round(100 * shift), "%", 0.04)
    if None in (shot.automatic, first.automatic) or shot.automatic == first.automatic:
        return None
    sentence = (
        "White balance fixed for the whole series: it was automatic in one photograph, fixed in another."
    )
    return Advice("white-balance-changed", sentence, (), None, None, 0.04)


def _common_shift(here: Array, there: Array, pairs: list[tuple[int, int]]) -> float | None:
    """Change of red against blue, as a share, where two samples or more agree on it; None where they do not.

    Each sample may have changed in brightness; the gains of red and blue are common to all.
    """
    if len(pairs) < 2:
        return None
    i, j = np.transpose(pairs)
    a, b = here[i], there[j]
    with np.errstate(invalid="ignore"):
        clear = (np.minimum(a, b) > _OPEN) & ((np.minimum(a, b) > _OPEN).sum(axis=1) >= 2)[:, None]
    if np.count_nonzero(clear.any(axis=1)) < 2:
        return None
    sample, channel = np.nonzero(clear)
    change = np.log(a[clear] / b[clear])
    gains = np.stack([channel == 0, channel == 2], axis=1).astype(float)
    own = (sample[:, None] == np.unique(sample)).astype(float)
    A = np.concatenate([gains, own], axis=1)
    fit, _, rank, _ = np.linalg.lstsq(A, change, rcond=None)
    shift = float(fit[0] - fit[1])
    left = float(np.sqrt(np.mean(np.square(change - A @ fit))))
    if len(change) <= rank or abs(shift) < _BALANCE or left > _AGREE * abs(shift):
        return None
    return float(np.expm1(shift))


def _name(shot: CheckedShot) -> str:
    return shot.check.path.replace("\\", "/").rsplit("/", 1)[-1]
