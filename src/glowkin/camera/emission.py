"""From three channels to CIE colour, with what is known of the camera from its own file.

A raw file brings a matrix for each of one or two calibration illuminants, fitted by the maker to
reflecting patches; a rendered file brings its colour space. Both misjudge emission bands, each place of
the diagram in its own way: see ``generic``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import Array, Uncertain
from glowkin.camera.generic import GenericError
from glowkin.camera.ten_degree import ObserverStep
from glowkin.colour.chromaticity import XYZ_to_uv_prime, XYZ_to_xy

if TYPE_CHECKING:
    from collections.abc import Mapping

    from glowkin.light.photo import Photograph

_WARM_X = (0.35, 0.45)
"""Chromaticity x over which the matrix for illuminant A takes over from the daylight one.

Measured over 26 cameras by ``benchmarks/two_matrices.py``: below, the daylight matrix errs less (470-490 nm:
0.026 against 0.043 in u'v'), above, the tungsten one (610-640 nm: 0.007 against 0.017).
"""


_MOST_TAKEN = 0.5


@dataclass(frozen=True)
class Emissions:
    """Colours of n emissions: ``luminance`` (n, relative), ``uv_prime`` (n x 2) with its ``own`` covariance
    (n x 2 x 2) and, for each, the ``shared`` loadings by source (2 x r).
    """

    luminance: Array
    uv_prime: Array
    own: Array
    shared: tuple[Mapping[str, Array], ...]

    def uncertain(self, i: int) -> Uncertain:
        """The chromaticity of one emission with its errors."""
        return Uncertain(self.uv_prime[i], self.own[i], self.shared[i])


@dataclass(frozen=True)
class Camera:
    """How linear RGB of one camera becomes XYZ, and how wrong that may be.

    ``to_xyz`` holds one 3 x 3 matrix, or two (illuminant A first, then daylight). ``generic`` is the
    error that this kind of description is known to make, None where the matrix is exact.
    """

    name: str
    basis: str
    to_xyz: tuple[Array, ...]
    generic: GenericError | None = None

    @property
    def luminance_weights(self) -> tuple[float, float, float]:
        """Linear RGB to relative luminance."""
        r, g, b = (float(w) for w in self.to_xyz[-1][1])
        return r, g, b

    @property
    def white(self) -> Array:
        """Linear RGB of a white surface in daylight (D65, CIE 15), by this description."""
        return np.asarray(np.linalg.solve(self.to_xyz[-1], (0.9505, 1.0, 1.0891)))

    def XYZ(self, rgb: Array) -> Array:
        """Relative XYZ (n x 3) of linear RGB (n x 3)."""
        daylight = rgb @ self.to_xyz[-1].T
        if len(self.to_xyz) == 1:
            return np.asarray(daylight)
        tungsten = rgb @ self.to_xyz[0].T
        with np.errstate(divide="ignore", invalid="ignore"):
            tungsten = tungsten * (daylight[..., 1:2] / tungsten[..., 1:2])
        low, high = _WARM_X
        warmth = np.clip((XYZ_to_xy(daylight)[..., :1] - low) / (high - low), 0.0, 1.0)
        return np.asarray(daylight + warmth * (tungsten - daylight))

    def infer(
        self, mean_rgb: Array, covariance: Array, observer: int = 2, stray: Array | None = None
    ) -> Emissions:
        """Colour of n channel means (n x 3) with their covariance (n x 3 x 3); NaN in, NaN out.

        ``observer`` is 2 or 10 degrees; cameras describe themselves for 2, the step to 10 has its error.
        ``stray`` (n x 3 x r) are kinds of light that may still be in the means or missing from them, one
        standard deviation each; they can be large, so they are followed beyond the first order.
        """
        rgb = np.asarray(mean_rgb, dtype=float).reshape(-1, 3)
        Y = self.XYZ(rgb)[:, 1]
        uv = self._uv_prime(rgb)
        J = self.jacobian(rgb)
        own = J @ np.asarray(covariance, dtype=float).reshape(-1, 3, 3) @ J.transpose(0, 2, 1)
        if stray is not None:
            own = own + self._stray_covariance(rgb, stray)
        shared: tuple[Mapping[str, Array], ...] = tuple({} for _ in uv)
        if self.generic is not None and len(uv):
            alone, shared = zip(*(self.generic.at(point, self.name) for point in uv), strict=True)
            own = own + np.array(alone)
        if observer == 10:
            uv, scatter = ObserverStep.load().at(uv)
            own = own + scatter
        return Emissions(Y, uv, own, shared)

    def _stray_covariance(self, rgb: Array, stray: Array) -> Array:
        """Covariance (n x 2 x 2) of u'v' from one step of each kind of stray light up and one down.

        A step down that would take most of the light away is shortened, and its effect scaled up.
        """
        here, out = self._uv_prime(rgb), np.zeros((len(rgb), 2, 2))
        for column in np.moveaxis(stray, 2, 0):
            left = np.abs(rgb).sum(axis=1) / np.maximum(column.sum(axis=1), 1e-300)
            share = np.minimum(1.0, _MOST_TAKEN * left)[:, None]
            for size in (1.0, -share):
                step = (self._uv_prime(rgb + size * column) - here) / np.abs(size)
                out += 0.5 * step[:, :, None] * step[:, None, :]
        return out

    def _uv_prime(self, rgb: Array) -> Array:
        return XYZ_to_uv_prime(self.XYZ(rgb))

    def jacobian(self, rgb: Array) -> Array:
        """Derivative of u'v' (2 degree observer) by linear RGB (n x 3), n x 2 x 3, by central differences."""
        step = 1e-5 * np.abs(rgb).max(axis=1, keepdims=True) + 1e-300
        shift = step[:, None] * np.eye(3)
        ahead, behind = (self._uv_prime((rgb[:, None] + s * shift).reshape(-1, 3)) for s in (1, -1))
        slope = (ahead - behind).reshape(-1, 3, 2) / (2 * step[:, None])
        return np.asarray(slope.transpose(0, 2, 1))


def camera_of(photo: Photograph) -> Camera:
    """The camera as its photograph describes it; an automatic white balance is shared with no other file."""
    kind = photo.kind
    automatic = "automatic-white-balance" in photo.flags
    name = f"{photo.metadata.make} {photo.metadata.model}".strip() or "unknown camera"
    if kind == "rendered":
        name = f"{name}, {photo.colour_space}"
    if kind == "rendered" and automatic:
        kind, name = "rendered-auto", f"{name}, balanced in {photo.sha256[:8]}"
    return Camera(name, "generic", photo.to_xyz, GenericError.load(kind))
