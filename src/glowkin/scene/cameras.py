"""Cameras that photograph scenes: sensitivities, colour matrices, wells, noise and mosaic. All invented."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.scene.spectra import WAVELENGTH_NM, planck

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Array: TypeAlias = "NDArray[np.float64]"

MAKE = "Invented"
BELLS = (
    ((598.0, 24.0, 46.0, 1.00), (540.0, 34.0, 30.0, 0.17), (430.0, 18.0, 22.0, 0.05)),
    ((530.0, 38.0, 46.0, 1.00), (470.0, 22.0, 30.0, 0.14), (620.0, 25.0, 40.0, 0.06)),
    ((459.0, 31.0, 33.0, 1.00), (520.0, 30.0, 24.0, 0.12), (620.0, 20.0, 40.0, 0.012)),
)
"""R, G, B of the invented camera as sums of (peak nm, sigma blue nm, sigma red nm, height)."""

CHANNEL_HEIGHTS = (0.62, 1.0, 0.78)


@dataclass(frozen=True)
class SceneCamera:
    """A camera of which everything is known.

    ``sensitivities`` (471 x 3, on WAVELENGTH_NM): relative response per unit of spectral power. ``cfa``
    holds the mosaic's smallest period, one string a row. ``full_well_e`` electrons reach the white level at
    ISO 100; ``throughput_e``: electrons for a unit of response, one second and f/1.
    """

    name: str
    sensitivities: Array = field(repr=False)
    full_well_e: float = 30_000.0
    read_noise_e: float = 3.0
    bits: int = 14
    black: int = 512
    cfa: tuple[str, ...] = ("RG", "GB")
    throughput_e: float = 500_000.0
    make: str = MAKE

    @property
    def white(self) -> int:
        """The highest code."""
        return int(2**self.bits - 1)

    @property
    def cfa_index(self) -> NDArray[np.uint8]:
        """The mosaic's period as channel numbers 0 R, 1 G, 2 B."""
        return np.array([["RGB".index(c) for c in row] for row in self.cfa], dtype=np.uint8)

    def codes_per_electron(self, iso: float = 100.0) -> float:
        """Gain K of EMVA 1288 at this ISO."""
        return (self.white - self.black) / self.full_well_e * iso / 100.0

    def response(self, spectrum: ArrayLike) -> Array:
        """Channel responses to a spectrum of power per nm (471, or n x 471)."""
        return np.asarray(np.asarray(spectrum, dtype=float) @ self.sensitivities)

    @cached_property
    def color_matrices(self) -> tuple[Array, Array]:
        """ColorMatrix1 and 2 of DNG: XYZ to camera for illuminants A and D65, fitted over the 24 patches.

        Scaled so that the illuminant's white has 1 as its highest channel.
        """
        return _matrix(self, "A"), _matrix(self, "D65")

    def neutral(self, illuminant: Array) -> Array:
        """AsShotNeutral: the response to a white surface in this light, highest channel 1."""
        white = self.response(illuminant)
        return np.asarray(white / white.max())

    def with_(self, **changes: object) -> SceneCamera:
        """The same camera with some properties changed."""
        return replace(self, **changes)  # type: ignore[arg-type]


def default_camera() -> SceneCamera:
    """An invented camera: smooth skewed bells such as consumer sensors with colour filters show."""
    columns = [h * _bells(parts) for parts, h in zip(BELLS, CHANNEL_HEIGHTS, strict=True)]
    return SceneCamera("Scene Camera 1", np.stack(columns, axis=1) * _infrared_cut()[:, None])


def luther_camera() -> SceneCamera:
    """A camera that meets the Luther condition: its channels are exact mixtures of the CIE 1931 functions."""
    from glowkin.colour.observer import cmfs

    return SceneCamera("Scene Camera L", np.asarray(cmfs(2)[1] @ LUTHER.T))


LUTHER = np.array([[0.75, 0.25, 0.02], [0.05, 0.85, 0.06], [0.02, 0.08, 0.50]])
"""XYZ to the channels of the Luther camera; no entry negative, so its sensitivities are none either."""


def camera_from_arrays(
    name: str, wavelength_nm: ArrayLike, sensitivities: ArrayLike, **changes: object
) -> SceneCamera:
    """A camera from measured sensitivities (n x 3), scaled to a highest of 1, zero outside their range."""
    wl, S = np.asarray(wavelength_nm, dtype=float), np.asarray(sensitivities, dtype=float)
    if S.shape != (wl.size, 3) or not np.all(np.diff(wl) > 0.0):
        raise WrongUseError(f"{name}: sensitivities must be n x 3 on n rising wavelengths, not {S.shape}")
    columns = [np.interp(WAVELENGTH_NM, wl, S[:, c], left=0.0, right=0.0) for c in range(3)]
    grid = np.clip(np.stack(columns, axis=1), 0.0, None)
    return SceneCamera(name, grid / grid.max()).with_(**changes)


def daylight(cct_K: float) -> Array:
    """CIE daylight of a correlated colour temperature 4000-25000 K, 471 values, 100 at 560 nm (CIE 15)."""
    import colour

    xy = colour.temperature.CCT_to_xy_CIE_D(cct_K)
    return _on_grid(colour.sd_CIE_illuminant_D_series(xy, shape=colour.SpectralShape(360, 830, 1)))


@lru_cache(maxsize=1)
def patch_reflectances() -> Array:
    """The 24 patches of ISO 17321-1 as colour-science holds them, 24 x 471."""
    import colour

    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
    return np.stack([_on_grid(sd) for sd in patches.values()])


def illuminant(name: str) -> Array:
    """A (a Planckian radiator of 2855.5 K on today's scale) or D65, 471 values."""
    return planck(2855.496) if name == "A" else daylight(6500.0 * 1.4388 / 1.4380)


def _on_grid(sd: object) -> Array:
    """A colour-science distribution on our grid, its ends held constant."""
    return np.interp(WAVELENGTH_NM, sd.wavelengths, sd.values)  # type: ignore[attr-defined]


def _matrix(camera: SceneCamera, light: str) -> Array:
    from glowkin.colour.observer import cmfs

    L = illuminant(light)
    stimuli = patch_reflectances() * L
    XYZ, rgb = stimuli @ cmfs(2)[1], camera.response(stimuli)
    M = np.linalg.lstsq(XYZ, rgb, rcond=None)[0].T
    white = L @ cmfs(2)[1]
    return np.asarray(M / (M @ (white / white[1])).max())


def _bells(parts: tuple[tuple[float, float, float, float], ...]) -> Array:
    return sum((h * _bell(peak, blue, red) for peak, blue, red, h in parts), np.zeros(WAVELENGTH_NM.size))


def _bell(peak: float, sigma_blue: float, sigma_red: float) -> Array:
    sigma = np.where(peak > WAVELENGTH_NM, sigma_blue, sigma_red)
    return np.asarray(np.exp(-0.5 * ((WAVELENGTH_NM - peak) / sigma) ** 2))


def _infrared_cut() -> Array:
    """The sensor's cover glass: passes 50 % at 400 and 670 nm."""
    lower = 1.0 / (1.0 + np.exp(-(WAVELENGTH_NM - 400.0) / 5.0))
    upper = 1.0 / (1.0 + np.exp((WAVELENGTH_NM - 670.0) / 9.0))
    return np.asarray(lower * upper)
