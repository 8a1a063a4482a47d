"""Two samples against each other: how different, how sure, and the verdict.

By draws (JCGM 101:2008), since a distance near zero is not Gaussian; errors that both samples share cancel
as far as they are the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.base.records import Comparison, MeasuredPhoto, Place, Sample
from glowkin.base.uncertainty import CHI2_95_2D, Array, Uncertain, difference, interval_95, joint_draws
from glowkin.colour.chromaticity import uv_prime_to_xy
from glowkin.colour.difference import n_step
from glowkin.colour.dominant import dominant

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

DRAWS = 8000
TOLERANCE = 0.0033
"""Three steps of 0.0011 (CIE TN 001:2014), made for near-white lights."""


@dataclass(frozen=True)
class Lab:
    """The optional surface-colour difference: a white's name and its chromaticity xy."""

    white: str
    white_xy: tuple[float, float]


def uncertain_colour(sample: Sample) -> Uncertain | None:
    """The chromaticity of a record with its own and shared errors, None where it has no colour."""
    if sample.u_prime is None or sample.v_prime is None or sample.u_prime_v_prime_covariance is None:
        return None
    shared = {source: np.array(S) for source, S in (sample.shared_errors or {}).items()}
    total = np.array(sample.u_prime_v_prime_covariance)
    own = total - sum((S @ S.T for S in shared.values()), np.zeros((2, 2)))
    return Uncertain(np.array([sample.u_prime, sample.v_prime]), own, shared)


def compare_samples(
    a: tuple[MeasuredPhoto, Sample],
    b: tuple[MeasuredPhoto, Sample],
    tolerance: float = TOLERANCE,
    lab: Lab | None = None,
) -> Comparison | None:
    """Compare two measured samples, None where either has no colour."""
    colours = uncertain_colour(a[1]), uncertain_colour(b[1])
    if colours[0] is None or colours[1] is None:
        return None
    drawn = joint_draws(colours, DRAWS)  # type: ignore[arg-type]
    step = difference(*colours)  # type: ignore[arg-type]
    distances = np.linalg.norm(drawn[0] - drawn[1], axis=1)
    distance = float(np.linalg.norm(step.value))
    within = float(np.mean(distances <= tolerance))
    interval = _distance_interval(step, distances)
    shift, shift_interval = _wavelength_shift(a, b, drawn)
    return Comparison(
        a=Place(a[0].path, a[1].name),
        b=Place(b[0].path, b[1].name),
        delta_u_prime_v_prime=distance,
        delta_u_prime_v_prime_interval=interval,
        n_step=float(n_step(distance)),
        delta_dominant_wavelength_nm=shift,
        delta_dominant_wavelength_interval_nm=shift_interval,
        delta_e_2000=_delta_e(a[1], b[1], lab) if lab else None,
        delta_e_2000_white=lab.white if lab else None,
        tolerance_u_prime_v_prime=tolerance,
        probability_within_tolerance=within,
        verdict=verdict(within, interval[0]),
    )


def verdict(probability_within: float, least: float) -> str:
    """0.95 either way, else undecided; and never different while the interval begins at no difference.

    With an uncertainty much larger than the tolerance hardly any draw lies within it, whatever the truth is:
    the probability alone would call two readings of one sample different.
    """
    if probability_within >= 0.95:
        return "no difference above tolerance"
    return "different" if probability_within <= 0.05 and least > 0 else "cannot tell"


def _distance_interval(step: Uncertain, distances: Array) -> tuple[float, float]:
    """95 % of the drawn distances; from 0 where the 95 % ellipse of the difference holds no difference."""
    covariance = step.covariance + 1e-18 * np.eye(2)
    if step.value @ np.linalg.solve(covariance, step.value) <= CHI2_95_2D:
        return 0.0, float(np.quantile(distances, 0.95))
    return interval_95(distances)


def _wavelength_shift(
    a: tuple[MeasuredPhoto, Sample], b: tuple[MeasuredPhoto, Sample], drawn: Sequence[Array]
) -> tuple[float | None, tuple[float, float] | None]:
    """Dominant wavelength of b minus a with its interval, None unless nearly every draw has both."""
    if a[1].dominant_wavelength_nm is None or b[1].dominant_wavelength_nm is None:
        return None, None
    found = [
        dominant(uv_prime_to_xy(uv), np.array(p.white_point_xy), p.observer).dominant_wavelength_nm
        for (p, _), uv in zip((a, b), drawn, strict=True)
    ]
    shifts = found[1] - found[0]
    known = np.isfinite(shifts)
    interval = interval_95(shifts[known]) if known.mean() > 0.975 else None
    return b[1].dominant_wavelength_nm - a[1].dominant_wavelength_nm, interval


def _delta_e(a: Sample, b: Sample, lab: Lab) -> float | None:
    """CIEDE2000 of two samples taken as surfaces, the brightest sample of the photograph at Y = 100."""
    from glowkin.colour.chromaticity import XYZ_to_Lab, xyY_to_XYZ
    from glowkin.colour.difference import delta_e_2000

    if a.luminance_relative is None or b.luminance_relative is None:
        return None
    white = xyY_to_XYZ(np.array([*lab.white_xy, 100.0]))
    colours = [xyY_to_XYZ(np.array([s.x, s.y, 100.0 * (s.luminance_relative or 0.0)])) for s in (a, b)]
    return float(delta_e_2000(*(XYZ_to_Lab(XYZ, white) for XYZ in colours)))


def find_sample(
    photos: Sequence[MeasuredPhoto], address: str, option: str = "--pair"
) -> tuple[MeasuredPhoto, Sample]:
    """The sample at NAME or FILE:NAME; WrongUseError where there is none, or more than one."""
    found = [(p, s) for p in photos for s in p.samples if address in addresses(p, s)]
    if len(found) == 1:
        return found[0]
    if not found:
        names = dict.fromkeys(s.name for p in photos for s in p.samples)
        raise WrongUseError(f"{option} {address}: no such sample; there are {', '.join(names) or 'none'}")
    raise WrongUseError(f"{option} {address}: is in several photographs; write {_one_of(found)}")


def _one_of(found: Sequence[tuple[MeasuredPhoto, Sample]]) -> str:
    """Addresses that tell these samples apart: with the file's name, or the path where names are the same."""
    short, long = ([addresses(p, s)[i] for p, s in found] for i in (1, 2))
    return " or ".join(short if len(set(short)) == len(found) else long)


def addresses(photo: MeasuredPhoto, sample: Sample) -> tuple[str, ...]:
    """The ways to name a sample: alone, with the file's name, with the path as given."""
    return sample.name, f"{PurePath(photo.path).name}:{sample.name}", f"{photo.path}:{sample.name}"


def all_pairs(
    photos: Sequence[MeasuredPhoto],
) -> Iterator[tuple[tuple[MeasuredPhoto, Sample], tuple[MeasuredPhoto, Sample]]]:
    """Every pair of samples within each photograph."""
    for photo in photos:
        for i, first in enumerate(photo.samples):
            for second in photo.samples[i + 1 :]:
                yield (photo, first), (photo, second)
