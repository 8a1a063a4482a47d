"""Several exposures of one scene seen as one: their order, how much longer each is, how the camera moved.

They are merged at the two levels at which a photograph is used: the reduced frame, in which samples and
their surroundings are looked for, and the means of regions (``merge``). No merged picture is made.
The reference is the shortest exposure: everything is in units of its full scale.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.base.errors import CannotMeasureError
from glowkin.light.linear import Frame, reduced
from glowkin.light.masters import correction_of
from glowkin.light.merge import Merged, Ratios, merge_signals, shown, single
from glowkin.light.noise import Noise, estimate_noise
from glowkin.light.region import region_means

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.masters import Correction, Masters
    from glowkin.light.photo import Photograph

_TOLD_SD = 0.05
"""Error of the logarithm of a told exposure: shutters are named 1/15 s and last 1/16 (common practice)."""
_GUESSED_SD = 1.0
_UNKNOWN_SD = 0.1
_ASTRAY = 0.2
"""Told and seen ratios that differ by more, in natural logarithm, are not of one scene developed alike."""
_FULL = 0.6
"""Up to this share of full scale no pixel in a reduced cell is taken to be clipped (common practice)."""
_CODING = 0.4 / 6
"""Error of coding in shares of the sixth step (as that of regions)."""
_STILL_PX, _FAR_SHARE = 0.2, 0.05


@dataclass(frozen=True, eq=False)
class View:
    """One scene: its reference photograph and reduced frame, from one exposure or several.

    ``shifts_px`` (K x 2) tell where in each exposure the reference's origin lies; ``told`` how much more
    light each let in, as its file or its frame tells; ``noises`` what one cell of each scatters by.
    ``masters`` are frames taken beside it, and ``corrections`` what they do to each exposure.
    """

    photo: Photograph
    frame: Frame
    exposures: tuple[Photograph, ...]
    shifts_px: Array
    told: Ratios
    from_files: bool
    noises: tuple[Noise, ...] = ()
    masters: Masters | None = None
    corrections: tuple[Correction, ...] = ()

    def corrected(self, masters: Masters) -> View:
        """The scene with room light, dark signal and fall-off taken off by frames taken beside it."""
        found = tuple(correction_of(photo, masters) for photo in self.exposures)
        return replace(self, frame=found[0].frame(self.frame), masters=masters, corrections=found)

    def means(self, outlines: Sequence[Array]) -> Merged:
        """Signals of the outlines (vertices x 2, pixels of the reference)."""
        corrections: tuple[Correction | None, ...] = self.corrections or (None,) * len(self.exposures)
        if len(self.exposures) == 1:
            signals = region_means(self.photo, outlines, correction=corrections[0])
            return single(signals, estimate_noise(self.photo))
        seen = [
            shown(photo, [np.asarray(o) + shift for o in outlines], noise, correction)
            for photo, shift, noise, correction in zip(
                self.exposures, self.shifts_px, self.noises, corrections, strict=True
            )
        ]
        merged = merge_signals(seen, self.told)
        if not self.from_files:
            self._check(merged.ratios)
        return merged

    def _check(self, ratios: Ratios) -> None:
        """Where neither files nor samples tell how long the exposures were there is nothing to merge by."""
        worst = int(np.argmax(np.diag(ratios.covariance)))
        if ratios.covariance[worst, worst] > _UNKNOWN_SD**2:
            raise CannotMeasureError(
                f"{self.exposures[worst].path}: neither the file nor the samples tell how much longer its "
                "exposure is; hand over the camera's own files, in steps of at most two stops"
            )

    def flags(self, merged: Merged) -> tuple[str, ...]:
        """What the exposures tell of each other."""
        moved = np.abs(self.shifts_px).max() > self.frame.scale_px
        astray = self.from_files and np.abs(np.log(merged.ratios.value / self.told.value)).max() > _ASTRAY
        checks = {"moved": moved, "bracket-disagrees": astray or merged.disagree.any()}
        return tuple(name for name, raised in checks.items() if raised)


def view(photos: Sequence[Photograph]) -> View:
    """The scene that these exposures show; CannotMeasureError where they do not show one."""
    given = tuple(photos)
    if len(given) == 1:
        still, known = np.zeros((1, 2)), Ratios(np.ones(1), np.zeros((1, 1)))
        return View(given[0], reduced(given[0]), given, still, known, from_files=True)
    _check_alike(given)
    frames = [reduced(photo) for photo in given]
    light, from_files = _light(given, frames)
    order = np.argsort(light, kind="stable")
    exposures, frames = tuple(given[i] for i in order), [frames[i] for i in order]
    value = light[order] / light[order[0]]
    sd = _TOLD_SD if from_files else _GUESSED_SD
    covariance = sd**2 * (np.eye(len(value)) + (1.0 if from_files else 0.0))
    covariance[0] = covariance[:, 0] = 0.0
    shifts = _shifts(exposures, frames, value)
    noises = _noises(exposures)
    frame = merge_frames(frames, value, shifts, noises)
    return View(exposures[0], frame, exposures, shifts, Ratios(value, covariance), from_files, noises)


def _noises(exposures: Sequence[Photograph]) -> tuple[Noise, ...]:
    """The noise of each exposure, from all that were taken at its ISO: no single one shows every level."""
    isos = [photo.metadata.iso for photo in exposures]
    of = {iso: estimate_noise(*(p for p in exposures if p.metadata.iso == iso)) for iso in set(isos)}
    return tuple(of[iso] for iso in isos)


def _check_alike(photos: Sequence[Photograph]) -> None:
    first = photos[0]
    for other in photos[1:]:
        a, b = _traits(first), _traits(other)
        for what, mend in _MENDS.items():
            if a[what] != b[what]:
                differ = f"differs from that of {first.path.name} ({b[what]}, {a[what]})"
                raise CannotMeasureError(f"{other.path}: {what} {differ}; {mend}")
    seen: dict[str, Photograph] = {}
    for photo in photos:
        if photo.sha256 in seen:
            twin = seen[photo.sha256].path.name
            raise CannotMeasureError(f"{photo.path}: the same photograph as {twin}; give each exposure once")
        seen[photo.sha256] = photo


_MENDS = {
    "the kind of file": "give the exposures of a bracket all as raw files or all as JPEG",
    "the camera": "take all exposures of a bracket with one camera",
    "the size": "take all exposures of a bracket at one size, and do not crop them",
    "the colour space": "save all exposures of a bracket in one colour space",
    "the white balance": "fix white balance to daylight for all exposures, or save raw",
    "the camera's colour matrix": "take all exposures of a bracket with one camera and one program",
}


def _traits(photo: Photograph) -> dict[str, object]:
    """What exposures of one bracket have in common, by the names of ``_MENDS``."""
    metadata, rendered = photo.metadata, photo.kind == "rendered"
    balance = {True: "automatic", False: "fixed", None: "not told"}[metadata.automatic_white_balance]
    return {
        "the kind of file": photo.kind,
        "the camera": f"{metadata.make} {metadata.model}".strip() or "not told",
        "the size": "{} x {}".format(*photo.size_px),
        "the colour space": photo.colour_space,
        "the white balance": balance if rendered else "",
        "the camera's colour matrix": "" if rendered else str(np.round(photo.to_xyz[-1], 3).tolist()),
    }


def _light(photos: Sequence[Photograph], frames: Sequence[Frame]) -> tuple[Array, bool]:
    """Light each exposure let in, in a common unit, and whether the files tell it."""
    told = [p.metadata for p in photos]
    if all(m.exposure_s and m.iso for m in told):
        stops = all(m.f_number for m in told)
        each = [m.exposure_s * m.iso / (m.f_number**2 if stops else 1.0) for m in told]  # type: ignore[operator]
        return np.array(each, dtype=float), True
    order = np.argsort([float(np.clip(f.linear, 0, 1).mean()) for f in frames])
    light = np.ones(len(frames), dtype=float)
    for shorter, longer in pairwise(order):
        light[longer] = light[shorter] * _ratio_of_frames(frames[shorter], frames[longer])
    return light, False


def _ratio_of_frames(shorter: Frame, longer: Frame) -> float:
    """The median ratio of what is brightest and yet unclipped in the longer exposure."""
    a, b = shorter.linear.max(axis=2).ravel(), longer.linear.max(axis=2).ravel()
    b = np.where(b < _FULL, b, -np.inf)
    brightest = np.argsort(b)[-max(20, b.size // 200) :]
    brightest = brightest[np.isfinite(b[brightest]) & (a[brightest] > 0)]
    return float(np.median(b[brightest] / a[brightest])) if brightest.size else 1.0


def merge_frames(frames: Sequence[Frame], ratios: Array, shifts_px: Array, noises: Sequence[Noise]) -> Frame:
    """One frame in units of the first: each cell from exposures that do not clip it, by inverse variance.

    Variances are those of a first estimate, by light alone: by what each exposure shows itself, its cells
    that noise made dark would count most.
    """
    first = frames[0]
    seen = [moved_back(f.linear, s / f.scale_px) for f, s in zip(frames, shifts_px, strict=True)]
    clear = [np.clip((_FULL + 0.2 - x.max(axis=2, keepdims=True)) / 0.2, 0.0, 1.0) for x in seen]
    level = np.clip(_weighed(seen, ratios, clear, first.linear), 0.0, None).max(axis=2, keepdims=True)
    weights = []
    for k, (frame, noise) in enumerate(zip(frames, noises, strict=True)):
        floor = float(noise.floor.mean()) + (_CODING * frame.faintest) ** 2
        weights.append(clear[k] * ratios[k] / (float(noise.gain.mean()) * ratios[k] * level + floor))
    linear = np.asarray(_weighed(seen, ratios, weights, first.linear), dtype=np.float32)
    faintest = min(f.faintest / r for f, r in zip(frames, ratios, strict=True))
    return replace(first, linear=linear, faintest=float(faintest))


def _weighed(
    seen: Sequence[NDArray[np.float32]], ratios: Array, weights: Sequence[Array], first: NDArray[np.float32]
) -> Array:
    """Means in units of the first exposure, which stands alone where no exposure counts."""
    total, light = 1e-12 * first, np.full((*first.shape[:2], 1), 1e-12)
    for x, r, weight in zip(seen, ratios, weights, strict=True):
        total = total + weight * x
        light = light + weight * r
    return np.asarray(total / light)


def moved_back(linear: NDArray[np.float32], shift: Array) -> NDArray[np.float32]:
    """The picture as if the camera had not moved by ``shift`` (x, y; its own pixels)."""
    if not np.any(shift):
        return linear
    matrix = np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]])
    size = (linear.shape[1], linear.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(linear, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE))


def _shifts(exposures: Sequence[Photograph], frames: Sequence[Frame], ratios: Array) -> Array:
    """Where the reference's origin lies in each exposure (K x 2, pixels), neighbour by neighbour."""
    shifts = np.zeros((len(frames), 2))
    for k in range(1, len(frames)):
        step = _shift(frames[k - 1], frames[k], float(ratios[k] / ratios[k - 1]))
        shifts[k] = shifts[k - 1] + step * frames[k].scale_px
        if np.abs(shifts[k]).max() > _FAR_SHARE * max(exposures[0].size_px):
            raise CannotMeasureError(
                f"{exposures[k].path}: does not show the same picture as {exposures[0].path.name}; take all "
                "exposures of a bracket from a tripod, with nothing moved between them"
            )
    return shifts


def _shift(shorter: Frame, longer: Frame, ratio: float) -> Array:
    """Shift of the longer exposure against the shorter one (x, y), pixels of the frame; 0 where tiny."""
    a, b = (_outlined(f.linear.max(axis=2), _FULL / s) for f, s in ((shorter, ratio), (longer, 1.0)))
    window = cv2.createHanningWindow((a.shape[1], a.shape[0]), cv2.CV_32F)
    (x, y), _ = cv2.phaseCorrelate(a, b, window)
    return np.array([x, y]) if np.hypot(x, y) > _STILL_PX else np.zeros(2)


def _outlined(level: NDArray[np.float32], full: float) -> NDArray[np.float32]:
    """The picture cut at the level at which the longer exposure clips, dim and bright samples alike."""
    return np.asarray(np.sqrt(np.clip(level / np.float32(full), 0.0, 1.0)), dtype=np.float32)
