"""A row of lights of known peak, behind small diffusers, in a dark room."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowkin.scene.spectra import led
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres

LED_PEAKS_NM = (425.0, 455.0, 475.0, 505.0, 525.0, 590.0, 625.0, 655.0)


@dataclass(frozen=True)
class KnownLight:
    """One light: peak as the seller states it, and as it truly is."""

    peak_nm: float
    fwhm_nm: float
    true_peak_nm: float


def known_lights(
    rng: np.random.Generator, peaks_nm: tuple[float, ...] = LED_PEAKS_NM, peak_sd_nm: float = 3.0
) -> tuple[KnownLight, ...]:
    """Lights whose true peaks scatter around the stated ones, as LEDs of one bin do."""
    true = np.array(peaks_nm) + peak_sd_nm * rng.standard_normal(len(peaks_nm))
    return tuple(KnownLight(p, 20.0, float(t)) for p, t in zip(peaks_nm, true, strict=True))


def lights_scene(lights: tuple[KnownLight, ...], size_px: tuple[int, int] = (1200, 400)) -> Scene:
    """The lights in one row, left to right, of equal power; no lamp, no powder."""
    centres = grid_centres(size_px, len(lights), 1, margin=0.05)
    radius = min(0.25 * size_px[0] / len(lights), 0.3 * size_px[1])
    samples = tuple(
        SceneSample(f"{light.peak_nm:.0f} nm", Shape("spot", centre, radius), _spectrum(light), texture=0.01)
        for light, centre in zip(lights, centres, strict=True)
    )
    return Scene(size_px, samples, surroundings_violet=0.0, lamp_unevenness=0.0, crosslight=0.001, halo=0.006)


def known_toml(lights: tuple[KnownLight, ...]) -> str:
    """The stated peaks as the file that goes with the photograph, one [[light]] each."""
    return "\n".join(
        f"[[light]]\npeak_nm = {light.peak_nm:.1f}\nfwhm_nm = {light.fwhm_nm:.1f}\n" for light in lights
    )


def _spectrum(light: KnownLight) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return led(light.true_peak_nm, light.fwhm_nm)
