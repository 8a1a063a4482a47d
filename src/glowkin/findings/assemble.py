"""Everything seen of the samples of one photograph, written into their records."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.ground import GroundSeen
from glowkin.base.records import CHANNELS, MergedExposure, Sample
from glowkin.base.uncertainty import Z95, ellipse_95, matrix
from glowkin.findings.describe import describe
from glowkin.samples.quality import sample_flags, stray_shift, unevenness

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.records import Rejected
    from glowkin.base.uncertainty import Array, Uncertain
    from glowkin.camera.emission import Camera, Emissions
    from glowkin.camera.reference import Checked
    from glowkin.light.bracket import View
    from glowkin.light.ceiling import Ceiling
    from glowkin.light.merge import Merged
    from glowkin.light.mismatch import Mismatch
    from glowkin.light.photo import Photograph
    from glowkin.light.region import Signals
    from glowkin.samples.find import Found
    from glowkin.samples.stray import Stray
    from glowkin.samples.wrong_frames import WrongFrame

_DIAGRAM = 0.3
"""Half the height of the spectrum locus in v': the prior alone, before any photograph, has 0.42."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What the rooms before found out about the n samples of one photograph; ``bounds`` (n x 3) are channels
    of which it was only reckoned that they are at least at the ceiling; ``least`` what clipped samples' light
    is, or is at least, in each channel. Of frames beside it ``left_out`` are those that cannot be meant, and
    ``unfit`` says what is amiss with others.
    """

    photo: Photograph
    camera: Camera
    found: Sequence[Found]
    emitted: Signals
    colours: Emissions
    stray: Stray
    merged: Merged
    scene: View
    names: Sequence[str]
    flags: tuple[str, ...]
    rejected: tuple[Rejected, ...]
    references: Sequence[Checked] = ()
    bounds: NDArray[np.bool_] | None = None
    least: Ceiling | None = None
    left_out: tuple[WrongFrame, ...] = ()
    unfit: tuple[Mismatch, ...] = ()


def sample_records(
    evidence: Evidence, names: Sequence[str], white_xy: Array, observer: int
) -> tuple[Sample, ...]:
    """One record a sample; colour fields stay None where nothing unclipped is left, or no colour is told."""
    finite = np.isfinite(evidence.colours.uv_prime).all(axis=1)
    seen = {int(i): evidence.colours.uncertain(int(i)) for i in np.flatnonzero(finite)}
    rivalled = evidence.stray.rivalled(evidence.emitted.mean + evidence.stray.level, evidence.photo.kind)
    told = {i: colour for i, colour in seen.items() if _told(colour) and not rivalled[i]}
    words = describe(list(told.values()), white_xy, observer)
    described = dict(zip(told, (asdict(w) for w in words), strict=True))
    spread = unevenness(evidence.camera, evidence.emitted, evidence.merged.noise)
    shift = stray_shift(evidence.camera, evidence.emitted, evidence.stray)
    taken = evidence.merged.taken
    records = []
    for i, (name, found) in enumerate(zip(names, evidence.found, strict=True)):
        flags = sample_flags(evidence.photo, found, i, evidence.emitted, spread[i], shift, taken[i])
        base = Sample(
            name=name,
            centre_px=found.centre_px,
            area_px=found.area_px,
            outline_px=matrix(np.round(found.outline_px, 1)),
            clipped_fraction=float(np.nan_to_num(evidence.emitted.clipped[i])),
            flags=flags,
        )
        at_least = _at_least(evidence, i)
        if i in seen:
            base = _measured(base, evidence, i, spread[i], at_least)
        if i in described:
            base = _coloured(base, told[i], described[i])
            base = _banded(base, evidence.colours.band[i])
        elif i in seen and not at_least:
            base = replace(base, flags=(*base.flags, "colour-not-told"))
        records.append(_with_least(base, evidence, i))
    return tuple(records)


def _with_least(base: Sample, evidence: Evidence, i: int) -> Sample:
    """The record with what a clipped sample's channels are, or are at least."""
    least = evidence.least
    if least is None or not np.isfinite(least.covariance[i]).all():
        return base
    r, g, b = (float(v) for v in least.mean[i])
    stray = [float(v) for v in evidence.stray.level[i]]
    return replace(
        base,
        bound_rgb=(r, g, b),
        bound_rgb_covariance=matrix(least.covariance[i]),
        bound_channels=tuple(name for name, c in zip(CHANNELS, least.clipped[i], strict=True) if c),
        stray_rgb=(stray[0], stray[1], stray[2]),
    )


def _told(colour: Uncertain) -> bool:
    """Whether the 95 % ellipse of a colour is clearly smaller than what is known without a photograph."""
    covariance = colour.covariance
    return bool(np.isfinite(covariance).all()) and ellipse_95(covariance)[0] < _DIAGRAM


def ground_record(evidence: Evidence) -> GroundSeen | None:
    """What the dark ground of a raw photograph shows; a rendered file's is mostly below its codes."""
    if evidence.photo.kind != "raw":
        return None
    stray = evidence.stray
    rgb, room = ([float(v) for v in light] for light in (stray.ground, stray.of_room))
    quarter, sd = (tuple(float(v) if np.isfinite(v) else None for v in column) for column in stray.quarters.T)
    return GroundSeen((rgb[0], rgb[1], rgb[2]), (room[0], room[1], room[2]), quarter, sd)


def exposure_records(scene: View, merged: Merged) -> tuple[MergedExposure, ...]:
    """One record for each exposure of a bracket; none where there was one exposure only."""
    if len(scene.exposures) == 1:
        return ()
    spread = np.exp(Z95 * np.sqrt(np.diag(merged.ratios.covariance)))
    rows = zip(scene.exposures, merged.ratios.value, spread, scene.shifts_px, strict=True)
    return tuple(
        MergedExposure(
            path=str(photo.path),
            sha256=photo.sha256,
            exposure_s=photo.metadata.exposure_s,
            iso=photo.metadata.iso,
            f_number=photo.metadata.f_number,
            ratio=float(ratio),
            ratio_interval=(float(ratio / factor), float(ratio * factor)),
            shift_px=(float(shift[0]), float(shift[1])),
        )
        for photo, ratio, factor, shift in rows
    )


def _coloured(base: Sample, colour: Uncertain, described: dict[str, object]) -> Sample:
    return replace(
        base,
        u_prime=float(colour.value[0]),
        v_prime=float(colour.value[1]),
        u_prime_v_prime_covariance=matrix(colour.covariance),
        shared_errors={source: matrix(S) for source, S in colour.shared.items()},
        **described,  # type: ignore[arg-type]
    )


def _banded(base: Sample, band: Array) -> Sample:
    """Centre and width of the single band that explains the channels, or the flag that none does."""
    if not np.isfinite(band).all():
        return replace(base, flags=(*base.flags, "not-a-single-band"))
    (centre, *centre_95), (width, *width_95) = (tuple(float(v) for v in row) for row in band)
    return replace(
        base,
        band_centre_nm=centre,
        band_centre_interval_nm=(centre_95[0], centre_95[1]),
        band_width_nm=width,
        band_width_interval_nm=(width_95[0], width_95[1]),
    )


def _at_least(evidence: Evidence, i: int) -> tuple[str, ...]:
    """The channels of the i-th sample of which only the least light is known."""
    if evidence.bounds is None:
        return ()
    return tuple(name for name, is_bound in zip(CHANNELS, evidence.bounds[i], strict=True) if is_bound)


def _measured(base: Sample, evidence: Evidence, i: int, spread: float, at_least: tuple[str, ...]) -> Sample:
    """The signals of a sample, whatever colour they tell; of bounds only how bright it is at least."""
    colours, metadata = evidence.colours, evidence.photo.metadata
    exposure = None
    if metadata.exposure_s and metadata.iso and metadata.f_number:
        exposure = metadata.exposure_s * metadata.iso / metadata.f_number**2
    luminance = float(colours.luminance[i])
    base = replace(
        base,
        luminance_relative=luminance / _brightest(evidence),
        luminance_per_exposure=luminance / exposure if exposure else None,
    )
    if at_least:
        flags = (*base.flags, "colour-from-bounds")
        return replace(base, clipped_channels=at_least, flags=flags)
    rgb = tuple(float(v) for v in evidence.emitted.mean[i])
    stray = tuple(float(v) for v in evidence.stray.level[i])
    return replace(
        base,
        unevenness_u_prime_v_prime=float(spread),
        linear_rgb=(rgb[0], rgb[1], rgb[2]),
        stray_rgb=(stray[0], stray[1], stray[2]),
        linear_rgb_covariance=matrix(evidence.emitted.covariance[i]),
    )


def _brightest(evidence: Evidence) -> float:
    """The highest luminance of a sample that is known; where all are bounds, the highest of these."""
    luminance = evidence.colours.luminance
    if evidence.bounds is not None:
        known = luminance[~evidence.bounds.any(axis=1)]
        luminance = known if np.isfinite(known).any() else luminance
    return float(np.nanmax(luminance))
