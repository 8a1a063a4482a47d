"""Compute what a maker's matrix is of a camera, and write it into the package.

    python benchmarks/maker_view.py [--write]

A maker fits the matrix from XYZ to the camera's channels by least squares over coloured surfaces in a light.
Each of its rows is a linear view of one channel's sensitivities; here that view over the 24 patches of
ISO 17321-1 (colour-science) in illuminant A and in D65.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

import colour
from glowkin.camera.grid import WAVELENGTH_NM, observer

TABLE = Path(__file__).parents[1] / "src/glowkin/camera/data/maker_view.json"


def view(light):
    """3 x 201: the row of a channel's matrix is this times its sensitivities."""
    shape = colour.SpectralShape(380, 780, 2)
    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    surfaces = np.array([sd.copy().align(shape).values for sd in patches])
    lit = surfaces * colour.SDS_ILLUMINANTS[light].copy().align(shape).values
    lit /= (lit @ observer(2))[:, 1].max()
    return np.linalg.pinv(lit @ observer(2)) @ lit


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    table = {
        "source": "benchmarks/maker_view.py: patches of ISO 17321-1, illuminants A and D65, CIE 1931, "
        "by colour-science (BSD-3)",
        "wavelength_nm": WAVELENGTH_NM.tolist(),
        **{light: np.round(view(light), 7).tolist() for light in ("A", "D65")},
    }
    if options.write:
        TABLE.write_text(json.dumps(table) + "\n", encoding="utf-8")
    print({light: np.abs(table[light]).sum(axis=None).round(3) for light in ("A", "D65")})


if __name__ == "__main__":
    main()
