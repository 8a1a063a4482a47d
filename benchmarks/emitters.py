"""Emission spectra for benchmarks, none of them made by the families of ``glowkin.camera.families``.

Measured ones: growing quantum dots (``../shared/data/drifting_emission``, A. Li, 2026, MIT) and phosphors,
diodes and display primaries of colour-science (BSD-3). Made ones in shapes that the prior has not: Pearson
VII, log-normal and exponentially modified Gaussian in nm, sech-squared narrow bands, Lorentzian lines at the
places of rare earths and ruby (CRC Handbook; from memory), and two of the broad ones together.
"""

from __future__ import annotations

import csv
import gzip
import warnings
from collections import defaultdict
from pathlib import Path

import numpy as np

from glowkin.camera.grid import WAVELENGTH_NM as NM

CLEAN_RUNS = (3, 5, 6)
LINES = (
    ((489, 0.35), (544.5, 1), (586, 0.2), (622, 0.12)),
    ((579, 0.03), (592, 0.25), (614, 1), (651, 0.05), (702, 0.4)),
    ((562, 0.6), (598, 1), (644, 0.9), (705, 0.2)),
    ((482, 0.7), (573, 1), (662, 0.06), (752, 0.05)),
    ((694.3, 1), (692.8, 0.7)),
)
HARD = ("narrow", "lines")


def measured(dots=16, data="../shared/data"):
    """(spectra, classes): quantum dots at ``dots`` times, phosphors, diodes, primaries."""
    growing, sold = quantum_dots(dots, data), phosphors()
    return np.concatenate([growing, sold]), ["dots"] * len(growing) + ["phosphor"] * len(sold)


def made(rng, n):
    """(spectra, classes) of broad bands, one and two, a sixth of them two: n in all."""
    shapes = [pearson, log_normal, tailed]
    names = ["pearson", "log-normal", "tailed"]
    spectra, classes = [], []
    for i in range(n):
        k = i % 4
        if k < 3:
            spectra.append(shapes[k](rng))
            classes.append(names[k])
            continue
        a, b, share = shapes[i % 3](rng), shapes[(i + 1) % 3](rng), rng.uniform(0.15, 0.85)
        spectra.append(share * a / a.sum() + (1 - share) * b / b.sum())
        classes.append("two bands")
    return unit(np.array(spectra)), classes


def hard(rng, n):
    """(spectra, classes) of narrow bands and of lines, half and half."""
    rows = [narrow(rng) if i % 2 else lines(rng) for i in range(n)]
    return unit(np.array(rows)), ["narrow" if i % 2 else "lines" for i in range(n)]


def pearson(rng):
    """Pearson VII in wavelength: tails between Lorentz's and Gauss's."""
    (p, w), m = place(rng), rng.uniform(1.3, 6)
    return (1 + ((NM - p) / (w / 2)) ** 2 * (2 ** (1 / m) - 1)) ** -m


def log_normal(rng):
    """Log-normal per nm (the form of Siano and Metzler, J. Chem. Phys. 51, 1856 (1969), in wavelength)."""
    (p, w), b = place(rng), rng.uniform(0.05, 0.5)
    z = np.clip(1 + 2 * b * (NM - p) / w, 1e-9, None)
    return np.where(z > 1e-9, np.exp(-np.log(2) * (np.log(z) / b) ** 2), 0.0)


def tailed(rng):
    """Gaussian convolved with an exponential towards the red."""
    from scipy.stats import exponnorm

    p, w = place(rng)
    return exponnorm.pdf(NM, rng.uniform(0.3, 2), loc=p, scale=0.7 * w / 2.3548)


def narrow(rng):
    """sech-squared, 12-30 nm wide."""
    p, w = rng.uniform(425, 680), rng.uniform(12, 30)
    return 1 / np.cosh((NM - p) / (w / 1.763)) ** 2


def lines(rng):
    """Lines with Lorentz-like feet, heights as a host may make them."""
    ion = LINES[rng.integers(len(LINES))]
    return sum(
        h * np.exp(0.4 * rng.standard_normal()) / (1 + ((NM - q) / rng.uniform(2, 6)) ** 2) ** 1.5
        for q, h in ion
    )


def place(rng):
    """Peak and width in nm of a molecular or d-d band at room temperature."""
    return rng.uniform(440, 660), rng.uniform(45, 120)


def quantum_dots(n, data):
    """N spectra of the cleanest runs, spread over their times."""
    runs = growing(data)
    spectra = np.concatenate([runs[run] for run in CLEAN_RUNS])
    keep = np.linspace(0, len(spectra) - 1, n).round().astype(int)
    return unit(spectra[keep])


def growing(data="../shared/data", nm=NM):
    """By run, spectra of quantum dots measured while they grew, background off (times x wavelengths)."""
    rows = defaultdict(list)
    with gzip.open(Path(data) / "drifting_emission/qd_long.csv.gz", "rt") as file:
        for row in csv.DictReader(file):
            key = int(row["run"]), float(row["t_s"])
            rows[key].append((float(row["wavelength_nm"]), float(row["intensity"])))
    runs = defaultdict(list)
    for run, t in sorted(rows):
        at, intensity = np.array(sorted(rows[run, t])).T
        ground = max(np.percentile(intensity, 3), intensity[-1])
        runs[run].append(np.interp(nm, at, np.clip(intensity - ground, 0, None), left=0, right=0))
    return {run: np.array(spectra) for run, spectra in runs.items()}


def phosphors():
    """Phosphors, diodes and display primaries of colour-science."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    words = ("LED", "PHOS", "Luxeon", "Triphosphor")
    found = [sd for name, sd in colour.SDS_LIGHT_SOURCES.items() if any(w in name for w in words)]
    found += [sd for name, sd in colour.SDS_ILLUMINANTS.items() if name.startswith("LED")]
    for primaries in colour.MSDS_DISPLAY_PRIMARIES.values():
        found += [primaries.signals[label] for label in primaries.labels]
    rows = [np.interp(NM, sd.wavelengths, sd.values, left=0, right=0) for sd in found]
    return unit(np.clip(rows, 0, None))


def unit(spectra):
    """Highest value 1."""
    return spectra / spectra.max(axis=1, keepdims=True)
