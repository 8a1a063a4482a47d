"""Which clock explains a change: how often the hours and the lamp are told apart, and taken for each other.

    python benchmarks/clocks.py [SERIES]

Signals of one vial in 7 to 12 photographs by the scene's own curves, which share no code with the fits: two
forms of luminance ratio 0.3 to 10, photon noise, 1.5 % left of the lamp. Minutes of lamp are log-normal about
one a photograph, by a factor of two, and in every third series four times as long in one photograph. The
change goes by the hours, or by the lamp; or the same with photographs at equal intervals and minutes that
differ by a factor of 1.3 only, so that the clocks go nearly together; or both keep equal intervals and
nothing tells.
"""

from __future__ import annotations

import argparse
from collections import Counter

import numpy as np

from glowkin.findings.clocks import which_clock
from glowkin.findings.kinetics import fit_course
from glowkin.findings.unmix import Series
from glowkin.scene.series import Course

WAVELENGTHS = np.linspace(400.0, 700.0, 151)
SENSITIVITIES = np.array([np.exp(-0.5 * ((WAVELENGTHS - c) / 38.0) ** 2) for c in (600.0, 535.0, 465.0)])
WEIGHTS = np.linalg.lstsq(
    SENSITIVITIES.T, np.exp(-0.5 * ((WAVELENGTHS - 555.0) / 43.0) ** 2), rcond=None
)[0]  # fmt: skip
LAWS = (("first-order", 1.0), ("avrami-erofeev", 2.0), ("stretched-exponential", 0.7), ("zero-order", 1.0))
PHOTONS, LAMP_SD = 3e5, 0.015


def signal(peak_nm, fwhm_nm, luminance):
    """Camera signal of one band of given luminance."""
    s = SENSITIVITIES @ np.exp(-4.0 * np.log(2.0) * ((WAVELENGTHS - peak_nm) / fwhm_nm) ** 2)
    return s * luminance / (WEIGHTS @ s)


def one_series(seed, by, nearly=False):
    """What is said of a vial that changes by the hours, the lamp, or by either."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(7, 13))
    hours = np.concatenate([[0.0], np.geomspace(1.0, 36.0, n - 1)])
    minutes = np.exp(np.log(2.0) * rng.standard_normal(n))
    if seed % 3 == 0:
        minutes[int(rng.integers(1, n - 2))] *= 4.0
    if by == "either":
        hours, minutes = np.arange(n) * 3.0, np.ones(n)
    if nearly:
        hours, minutes = np.arange(n) * 3.0, np.exp(np.log(1.3) * rng.standard_normal(n))
    dose = np.cumsum(minutes)
    clock = dose if by == "lamp" else hours
    law, exponent = LAWS[seed % len(LAWS)]
    course = Course(law, float(clock[-1]) * float(rng.uniform(0.2, 0.5)), exponent)
    f = np.array([course.fraction(t) for t in clock])[:, None]
    ratio = float(np.exp(rng.uniform(np.log(0.3), np.log(10.0))))
    light = f * signal(625.0, 85.0, 0.05) + (1.0 - f) * signal(520.0, 52.0, 0.05 * ratio)
    light = light * (1.0 + LAMP_SD * rng.standard_normal((n, 1)))
    signals = rng.poisson(light * PHOTONS) / PHOTONS
    noise = np.maximum(light, 1e-5)[:, :, None] / PHOTONS * np.eye(3)
    series = Series(hours * 3600.0, signals, noise, LAMP_SD, WEIGHTS)
    if fit_course(series).model is None:
        return "no course"
    found = which_clock(series, dose * 60.0, "study file")
    return found.explains if found else "too few"


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("series", type=int, nargs="?", default=60)
    count = parser.parse_args().series
    cases = [("hours", False), ("lamp", False), ("hours", True), ("lamp", True), ("either", False)]
    for by, nearly in cases:
        said = Counter(one_series(seed, by, nearly) for seed in range(count))
        words = ", ".join(f"{k} {n}" for k, n in said.most_common())
        print(f"changes by {by}{', clocks nearly together' if nearly else ''}, of {count}: {words}")


if __name__ == "__main__":
    main()
