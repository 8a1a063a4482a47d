"""Photons and power: the energy of a photon, and spectra counted in photons turned into power per nm."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from glowkin.base.uncertainty import Array

PLANCK_J_S = 6.62607015e-34
LIGHT_SPEED_M_S = 299792458.0
ELEMENTARY_CHARGE_C = 1.602176634e-19
HC_EV_NM = PLANCK_J_S * LIGHT_SPEED_M_S / ELEMENTARY_CHARGE_C * 1e9
"""Photon energy times wavelength, about 1239.842 eV nm, from the exact constants of the SI (2019)."""


def photon_energy_eV(wavelength_nm: ArrayLike) -> Array:
    """Energy of a photon in eV, any shape, for a vacuum wavelength in nm.

    >>> photon_energy_eV([500.0]).round(4).tolist()
    [2.4797]
    """
    return np.asarray(HC_EV_NM / np.asarray(wavelength_nm, dtype=float))


def photon_to_power(wavelength_nm: ArrayLike, photon_spectrum: ArrayLike) -> Array:
    """Photons per s and nm (..., n) at wavelengths (n,) to power in eV per s and nm (..., n).

    Each photon carries hc / wavelength, so power weighs the blue side more and its peak lies to the blue.
    """
    return np.asarray(np.asarray(photon_spectrum, dtype=float) * photon_energy_eV(wavelength_nm))
