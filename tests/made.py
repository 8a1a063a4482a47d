"""Measured photographs made from signals: bands through broad sensitivities, photon noise, a lamp."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample

WAVELENGTHS = np.linspace(400.0, 700.0, 151)
SENSITIVITIES = np.array([np.exp(-0.5 * ((WAVELENGTHS - c) / 38.0) ** 2) for c in (600.0, 535.0, 465.0)])
LUMINOUS = np.exp(-0.5 * ((WAVELENGTHS - 555.0) / 43.0) ** 2)
WEIGHTS = np.linalg.lstsq(SENSITIVITIES.T, LUMINOUS, rcond=None)[0]
ZERO = datetime(2026, 5, 4, 9)
HOUR = 3600.0


def signal(peak_nm: float, fwhm_nm: float, luminance: float) -> np.ndarray:
    """Camera signal of one band, of given luminance."""
    s = SENSITIVITIES @ np.exp(-4.0 * np.log(2.0) * ((WAVELENGTHS - peak_nm) / fwhm_nm) ** 2)
    return s * luminance / (WEIGHTS @ s)


RED, GREEN, YELLOW = signal(625.0, 85.0, 0.04), signal(520.0, 52.0, 0.20), signal(570.0, 80.0, 0.1)


def mixed(f, red=RED, green=GREEN) -> np.ndarray:
    """Signals (n, 3) of a vial with the fraction f of the red form left."""
    f = np.asarray(f)[:, None]
    return f * red + (1.0 - f) * green


def steady(n, level=YELLOW) -> np.ndarray:
    """Signals (n, 3) of what does not change."""
    return np.repeat(level[None], n, axis=0)


def photographs(hours, signals, seed=0, photons=3e5, lamp=0.02, exposure_s=1.0):
    """Measured photographs, each sample's signals (n, 3) by its name; the lamp wanders (sd, or levels)."""
    rng = np.random.default_rng(seed)
    n = len(hours)
    levels = 1.0 + lamp * rng.standard_normal(n) if np.isscalar(lamp) else np.asarray(lamp)
    return [_photograph(i, hours[i], signals, levels[i], rng, photons, exposure_s) for i in range(n)]


def _photograph(i, hour, signals, level, rng, photons, exposure_s):
    samples = []
    for k, (name, light) in enumerate(signals.items()):
        mean = light[i] * level
        rgb = rng.poisson(mean * photons) / photons
        noise = tuple(tuple(float(v) for v in row) for row in np.diag(np.maximum(mean, 1e-5) / photons))
        Y = float(WEIGHTS @ rgb)
        samples.append(
            Sample(
                name, (100.0 + 200.0 * k, 100.0), 2000.0, (), u_prime=0.2, v_prime=0.5,
                luminance_relative=Y, luminance_per_exposure=Y, linear_rgb=tuple(map(float, rgb)),
                linear_rgb_covariance=noise, stray_rgb=(0.0, 0.0, 0.0),
            )
        )  # fmt: skip
    return MeasuredPhoto(
        path=f"{i:02}.dng", sha256=f"{i:064}", taken_at=(ZERO + timedelta(hours=float(hour))).isoformat(),
        exposure_s=exposure_s, iso=100.0, f_number=1.0, kind="raw", size_px=(1000, 200),
        camera=CameraUsed("camera", "sensitivities", tuple(map(float, WEIGHTS))), white_point="E",
        white_point_xy=(1 / 3, 1 / 3), observer=2, flags=(), samples=tuple(samples),
    )  # fmt: skip
