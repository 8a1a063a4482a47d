"""Which figures of a sample's record have a column of their own, so that asking for them opens no record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from glowkin.base.records import Sample

SAMPLE_COLUMNS = (
    "name", "u_prime", "v_prime", "u_prime_variance", "u_prime_v_prime_covariance", "v_prime_variance",
    "luminance_relative", "luminance_per_exposure",
    "dominant_wavelength_nm", "dominant_wavelength_low_nm", "dominant_wavelength_high_nm",
    "excitation_purity", "excitation_purity_low", "excitation_purity_high",
    "band_centre_nm", "band_centre_low_nm", "band_centre_high_nm", "clipped_fraction", "flags",
)  # fmt: skip


def sample_values(s: Sample) -> tuple[Any, ...]:
    """The values of ``SAMPLE_COLUMNS``."""
    covariance = s.u_prime_v_prime_covariance or ((None, None), (None, None))
    none = (None, None)
    return (
        s.name, s.u_prime, s.v_prime, covariance[0][0], covariance[0][1], covariance[1][1],
        s.luminance_relative, s.luminance_per_exposure,
        s.dominant_wavelength_nm, *(s.dominant_wavelength_interval_nm or none),
        s.excitation_purity, *(s.excitation_purity_interval or none),
        s.band_centre_nm, *(s.band_centre_interval_nm or none), s.clipped_fraction, " ".join(s.flags),
    )  # fmt: skip
