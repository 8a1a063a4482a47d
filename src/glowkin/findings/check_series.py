"""What only a comparison of photographs tells: settings that changed, and a camera that moved."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.checks import Advice
from glowkin.colour.spaces import RGB_TO_XYZ

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.check import CheckedShot

_EXPOSURE_STOPS = 0.15
_NEAR, _MOVED = 0.12, 0.006
"""Shares of the frame's diagonal: samples this near are the same; a common shift this large is a move."""
_BALANCE, _OPEN, _AGREE, _COLOURS_APART = 0.06, 0.004, 0.35, 0.15
_SENSOR = np.array([[0.55, 0.34, 0.11], [0.06, 0.71, 0.23], [0.00, 0.26, 0.74]])
"""Linear sRGB to a sensor's channels, balanced for daylight, where white balance is a gain for each: mean of
26 cameras of measured sensitivities by the rule of raw developers; standard deviations are 0.01-0.07."""


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
    i, j = np.transpose(pairs) if pairs else np.zeros((2, 0), dtype=int)
    clear = np.isfinite(shot.XYZ[i]).all(axis=1) & np.isfinite(first.XYZ[j]).all(axis=1)
    shift = _common_shift(shot.XYZ[i[clear]], first.XYZ[j[clear]]) if clear.any() else None
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


def _common_shift(here: Array, there: Array) -> float | None:
    """Change of red against blue, as a share, where samples of different colour agree on it; else None.

    Each sample (n x 3, XYZ) may have changed in brightness; the gains of red and blue are common to all.
    Samples of one colour may have changed alike by themselves.
    """
    to_sensor = _SENSOR @ np.linalg.inv(RGB_TO_XYZ["sRGB"])
    a, b = here @ to_sensor.T, there @ to_sensor.T
    sample, channel = np.nonzero(np.minimum(a, b) > _OPEN)
    own = (sample[:, None] == np.unique(sample)).astype(float)
    A = np.concatenate([np.stack([channel == 0, channel == 2], axis=1).astype(float), own], axis=1)
    if not len(sample) or len(sample) <= np.linalg.matrix_rank(A) or not _differ(b):
        return None
    change = np.log(a[sample, channel] / b[sample, channel])
    fit = np.linalg.lstsq(A, change, rcond=None)[0]
    shift, left = float(fit[0] - fit[1]), float(np.sqrt(np.mean(np.square(change - A @ fit))))
    return float(np.expm1(shift)) if abs(shift) > _BALANCE and left < _AGREE * abs(shift) else None


def _differ(sensor: Array) -> bool:
    """Whether there are samples (n x 3) of different colour."""
    share = sensor / np.maximum(sensor.sum(axis=1, keepdims=True), 1e-9)
    return bool(np.ptp(share, axis=0).max() > _COLOURS_APART)


def _name(shot: CheckedShot) -> str:
    return shot.check.path.replace("\\", "/").rsplit("/", 1)[-1]
