from __future__ import annotations

import warnings

import numpy as np
import pytest

from glowkin.scene.spectra import WAVELENGTH_NM


@pytest.fixture(scope="session")
def colour_science():
    """colour-science, an independent implementation; its import warns about optional packages."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("colour")


def integrator(colour, observer):
    cmfs = colour.MSDS_CMFS[observer]

    def integrate(power):
        sd = colour.SpectralDistribution(power, WAVELENGTH_NM)
        return np.asarray(colour.sd_to_XYZ(sd, cmfs=cmfs, method="Integration", k=1.0))

    return integrate


@pytest.fixture(scope="session")
def oracle_XYZ(colour_science):
    """XYZ of a spectrum, CIE 1931, by colour-science's own tables."""
    return integrator(colour_science, "CIE 1931 2 Degree Standard Observer")


@pytest.fixture(scope="session")
def ten_degree_XYZ(colour_science):
    """XYZ of a spectrum, CIE 1964, by colour-science's own tables."""
    return integrator(colour_science, "CIE 1964 10 Degree Standard Observer")
