"""Frames taken beside the photograph, and what they take off it: room light, dark signal, fall-off.

``lamp_off``: the lamp switched off, so room light only. ``lens_capped``: no light at all, so what the sensor
adds by itself. ``flat``: an evenly lit sheet, so how lens and lamp fall off. ``blank``: the same arrangement
under the lamp with nothing in it that should glow, so the lamp's light where the samples stand. Several of
a kind are averaged.

Differences are taken of block means, photograph and frame over the same cells, so what both hold (noise
apart) drops out of the error as well.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from glowkin.base.errors import CannotMeasureError, CannotReadError
from glowkin.base.settings import FRAME_KINDS
from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.light.region import block_means, region_means

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.settings import Settings
    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame, Window
    from glowkin.light.photo import Photograph

_SAME = 0.02
"""Exposures that differ by less are equal: cameras round what they write."""
_FLAT_LEAST, _FLAT_MOST = 0.02, 0.95
_FLAT_SMOOTH = 1 / 40
_FLAT_EDGES = 0.1
"""A sheet is smooth but for dust and noise, which are small or weak (common practice, no source)."""
_CLIPPED = 0.001
"""A lamp-off frame clipped over more of it than hot pixels are is too long for the room."""

_LOCK = threading.Lock()


@dataclass(frozen=True, eq=False)
class Master:
    """One frame, decoded."""

    photo: Photograph

    @cached_property
    def linear(self) -> NDArray[np.float32]:
        """The frame reduced, in linear light."""
        return reduced(self.photo).linear

    @cached_property
    def clipped(self) -> bool:
        """Whether more of it is clipped than hot pixels."""
        codes = self.photo.codes
        return bool(np.count_nonzero(codes >= self.photo.clip) > _CLIPPED * codes.size)


@dataclass(frozen=True, eq=False)
class Masters:
    """The frames of each kind."""

    lamp_off: tuple[Master, ...] = ()
    lens_capped: tuple[Master, ...] = ()
    flat: tuple[Master, ...] = ()
    blank: tuple[Master, ...] = ()

    def named(self) -> list[tuple[str, Photograph]]:
        """Every frame with the option that brought it, as ``lamp-off``."""
        return [(kind.replace("_", "-"), m.photo) for kind in FRAME_KINDS for m in getattr(self, kind)]

    @cached_property
    def fall_off(self) -> NDArray[np.float32] | None:
        """The flat's light, reduced and smooth, each channel by its own mean; None without a flat."""
        if not self.flat:
            return None
        mean = _mean(self.flat) - (_mean(self.lens_capped) if self.lens_capped else np.float32(0.0))
        smooth = cv2.GaussianBlur(mean, (0, 0), _FLAT_SMOOTH * mean.shape[1], borderType=cv2.BORDER_REPLICATE)
        _check_flat(self.flat[0].photo, mean, smooth)
        return np.asarray(smooth / smooth.mean(axis=(0, 1)), dtype=np.float32)


def _mean(frames: tuple[Master, ...]) -> NDArray[np.float32]:
    return np.asarray(np.mean([m.linear for m in frames], axis=0), dtype=np.float32)


def masters_of(settings: Settings) -> Masters | None:
    """The frames that settings name, each decoded once in a process; None where they name none."""
    paths = tuple((kind, Path(p)) for kind in FRAME_KINDS for p in getattr(settings, kind))
    if not paths:
        return None
    with _LOCK:
        return _decoded(tuple((kind, path, *_stamp(path)) for kind, path in paths))


def _stamp(path: Path) -> tuple[int, int]:
    """What changes when a file does; a missing file is left for the decoder to report."""
    try:
        status = path.stat()
    except OSError:
        return 0, 0
    return status.st_size, status.st_mtime_ns


@lru_cache(maxsize=1)
def _decoded(stamps: tuple[tuple[str, Path, int, int], ...]) -> Masters:
    frames: dict[str, list[Master]] = {kind: [] for kind in FRAME_KINDS}
    for kind, path, _, _ in stamps:
        try:
            frames[kind].append(Master(open_photo(path)))
        except CannotReadError as error:
            raise CannotReadError(f"--{kind.replace('_', '-')}: {error}") from error
    return Masters(**{kind: tuple(found) for kind, found in frames.items()})


@dataclass(frozen=True, eq=False)
class Correction:
    """What the frames do to one photograph: each added with its weight, then the fall-off divided out.

    ``room`` are the frames and weights that make up the room's light alone, without the sensor's own signal.
    """

    photo: Photograph
    terms: tuple[tuple[Master, float], ...]
    fall_off: NDArray[np.float32] | None = None
    room: tuple[tuple[Master, float], ...] = ()

    def frame(self, frame: Frame) -> Frame:
        """The photograph, reduced, so corrected."""
        linear = frame.linear
        for master, weight in self.terms:
            linear = linear + np.float32(weight) * master.linear
        if self.fall_off is not None:
            linear = linear / self.fall_off
        return replace(frame, linear=np.asarray(linear, dtype=np.float32))

    def blocks(self, mask: NDArray[np.uint8], window: Window, side: int, means: Array) -> Array:
        """Block means (blocks x 3) of the photograph, so corrected; NaN where a frame has none."""
        for master, weight in self.terms:
            means = means + weight * block_means(master.photo, mask, window, side)
        if self.fall_off is None:
            return means
        return np.asarray(means / self._fall_off_at(mask, window, side))

    @property
    def weight(self) -> float:
        """How much of the frames is added or taken off, all in all; rounding errs alike in all of them."""
        return sum(abs(w) for _, w in self.terms)

    def _fall_off_at(self, mask: NDArray[np.uint8], window: Window, side: int) -> Array:
        """The fall-off in the middle of each block."""
        assert self.fall_off is not None  # noqa: S101 - asked for only then
        height, width = self.fall_off.shape[:2]
        cells = self.photo.size_cells
        rows, columns = (-(-n // side) for n in mask.shape)
        y = (window.top + (np.arange(rows) + 0.5) * side) * height / cells[1] - 0.5
        x = (window.left + (np.arange(columns) + 0.5) * side) * width / cells[0] - 0.5
        X, Y = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
        at = cv2.remap(self.fall_off, X, Y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(at.reshape(-1, 3), dtype=float)


def correction_of(photo: Photograph, masters: Masters) -> Correction:
    """What the frames do to this photograph; CannotMeasureError where they are not of its kind.

    Dark signal off the photograph and off the lamp-off frame, whose light is scaled by r to the photograph's
    exposure: P - C - r (L - C) = P - r L - (1 - r) C. Lamp-off frames of several exposures, as a bracket has
    them, are added up before they are scaled, so that the light of all counts.
    """
    for name, frame in masters.named():
        _check(photo, name, frame)
    frames = [m for m in masters.lamp_off if not m.clipped] or masters.lamp_off
    all_light = sum(1.0 / exposure_ratio(photo, m.photo) for m in frames)
    off = [(m, 1.0 / all_light) for m in frames]
    dark = 1.0 - sum(r for _, r in off)
    terms = [(m, -r) for m, r in off]
    if abs(dark) > _SAME:
        terms += [(m, -dark / len(masters.lens_capped)) for m in masters.lens_capped]
    capped = masters.lens_capped if off else ()
    room = [*off, *((m, -(1.0 - dark) / len(capped)) for m in capped)]
    return Correction(photo, tuple(terms), masters.fall_off, tuple(room))


def blank_light(photo: Photograph, masters: Masters, outlines: Sequence[Array]) -> Array | None:
    """The lamp's light from a blank within each outline (n x 3), at this exposure; None without one.

    Several blanks are averaged; NaN where a blank is clipped all over an outline.
    """
    found = []
    for blank in masters.blank:
        means = region_means(blank.photo, outlines, None, correction_of(blank.photo, masters)).mean
        found.append(exposure_ratio(photo, blank.photo) * means)
    return np.clip(np.mean(found, axis=0), 0.0, None) if found else None


def room_light(correction: Correction, frame: Frame, outlines: Sequence[Array]) -> Array:
    """The room's light (n x 3) that frames took off each outline, from the reduced ones."""
    off = [(m.linear, w) for m, w in correction.room]
    rows = []
    for outline in outlines:
        box, mask = frame.patch(outline)
        rows.append(sum((w * np.array(cv2.mean(light[box], mask)[:3]) for light, w in off), np.zeros(3)))
    return np.clip(np.array(rows).reshape(-1, 3), 0.0, None)


def exposure_ratio(photo: Photograph, frame: Photograph) -> float:
    """By how much more the photograph was exposed than the frame; 1 where a file does not tell."""
    a, b = (_exposure(p) for p in (photo, frame))
    if a is None or b is None or abs(a / b - 1.0) < _SAME:
        return 1.0
    return a / b


def told_exposures(photos: Sequence[Photograph]) -> bool:
    """Whether every file tells how it was exposed."""
    return all(_exposure(photo) is not None for photo in photos)


def _exposure(photo: Photograph) -> float | None:
    m = photo.metadata
    if m.exposure_s is None:
        return None
    return m.exposure_s * (m.iso or 100.0) / (m.f_number or 1.0) ** 2


def _check(photo: Photograph, name: str, frame: Photograph) -> None:
    """Refuse a frame that cannot be laid on the photograph."""
    for what, own, other in (
        ("size", _size(photo), _size(frame)),
        ("file", _KIND.get(photo.kind), _KIND.get(frame.kind)),
        ("camera", _camera(photo) if _camera(frame) else "", _camera(frame) if _camera(photo) else ""),
        ("colour space", photo.colour_space, frame.colour_space),
    ):
        if own != other:
            raise CannotMeasureError(
                f"{photo.path}: the {name} frame {frame.path} is of another {what} ({other}, not {own}); "
                "take both with one camera and the same settings, and leave them as they are"
            )
    if photo.channels.shape != frame.channels.shape or (photo.channels != frame.channels).any():
        raise CannotMeasureError(
            f"{photo.path}: the {name} frame {frame.path} was held another way round; "
            "take both from one tripod"
        )


_KIND = {"raw": "raw", "rendered": "developed by the camera"}


def _size(photo: Photograph) -> str:
    return "{} x {} pixels".format(*photo.size_px)


def _camera(photo: Photograph) -> str:
    return f"{photo.metadata.make} {photo.metadata.model}".strip()


def _check_flat(flat: Photograph, mean: NDArray[Any], smooth: NDArray[Any]) -> None:
    if smooth.max() > _FLAT_MOST:
        raise CannotMeasureError(f"{flat.path}: this flat is clipped; expose it to about half of the scale")
    if smooth.min() < _FLAT_LEAST:
        raise CannotMeasureError(
            f"{flat.path}: this flat is darker than 2 % of the scale in a channel; "
            "light the sheet evenly with white light, and expose it to about half of the scale"
        )
    fine = cv2.GaussianBlur(mean, (0, 0), 1.0, borderType=cv2.BORDER_REPLICATE)
    if np.quantile(np.abs(fine / smooth - 1.0).max(axis=2), 0.98) > _FLAT_EDGES:
        raise CannotMeasureError(
            f"{flat.path}: this flat shows things with edges; photograph an evenly lit white sheet that "
            "fills the frame, out of focus"
        )
