from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from glowkin.scene.spectra import WAVELENGTH_NM

OracleXYZ = Callable[[np.ndarray], np.ndarray]


@pytest.fixture(scope="session")
def oracle_XYZ() -> OracleXYZ:
    """XYZ of a spectrum by colour-science's own tables and integration, unscaled."""
    colour = pytest.importorskip("colour")
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]

    def integrate(power: np.ndarray) -> np.ndarray:
        sd = colour.SpectralDistribution(power, WAVELENGTH_NM)
        return np.asarray(colour.sd_to_XYZ(sd, cmfs=cmfs, method="Integration", k=1.0))

    return integrate
