"""Everything a check of one photograph reads, gathered once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import ellipse_95
from glowkin.light.evenness import bands, fall_off, patches
from glowkin.light.exposure import scale_use
from glowkin.light.noise import noise_in_the_dark
from glowkin.light.sharpness import edges

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.assemble import Evidence
    from glowkin.light.evenness import Bands, FallOff
    from glowkin.light.exposure import ScaleUse
    from glowkin.light.linear import Frame
    from glowkin.light.noise import Noise
    from glowkin.light.sharpness import Edge

_CLEAR = {"raw": 10.0, "rendered": 25.0}
_DROWNED = {"raw": 7.0, "rendered": 20.0}
"""Light over noise of a cell that shows an edge as it is; developing smooths noise, not its errors."""


@dataclass(frozen=True, eq=False)
class Look:
    """One photograph's evidence, and what a check measures besides."""

    evidence: Evidence

    @property
    def names(self) -> Sequence[str]:
        """The samples' names."""
        return self.evidence.names

    @property
    def frame(self) -> Frame:
        """The reduced photograph."""
        return self.evidence.scene.frame

    @property
    def noise(self) -> Noise:
        """Noise of a cell of the photograph."""
        return self.evidence.merged.noise

    @cached_property
    def outlines(self) -> list[Array]:
        """The outlines of the samples, vertices x 2."""
        return [f.outline_px for f in self.evidence.found]

    @cached_property
    def use(self) -> ScaleUse:
        """How the scale was used."""
        return scale_use(self.evidence.photo, self.outlines)

    @cached_property
    def edges(self) -> dict[int, Edge]:
        """The edge of each sample that is clear enough of noise to have one, by its number."""
        clear = np.flatnonzero(self.signal > _CLEAR[self.evidence.photo.kind])
        found = edges(self.evidence.photo, [self.outlines[i] for i in clear], self.noise)
        return {int(i): edge for i, edge in zip(clear, found, strict=True)}

    @cached_property
    def _aspect(self) -> float:
        height, width = self.frame.linear.shape[:2]
        return float(width / height)

    @cached_property
    def fall_off(self) -> FallOff | None:
        """How the light falls off over the frame."""
        return fall_off(patches(self.frame, self.outlines), self._aspect)

    @cached_property
    def bands(self) -> Bands | None:
        """Bands over the frame, along the rows of the sensor, which are read one after the other."""
        turned = self.evidence.photo.metadata.orientation >= 5
        return bands(patches(self.frame, self.outlines), self._aspect, along_rows=not turned)

    @cached_property
    def dark_noise(self) -> Array:
        """Noise of one cell (3,) in the dark parts."""
        return noise_in_the_dark(self.evidence.photo)

    @property
    def nothing(self) -> bool:
        """Whether no sample was found, or none that stands above the noise of a single cell."""
        return not self.names or bool((self.signal < 1.0).all())

    @property
    def drowned(self) -> bool:
        """Whether noise shows even in the brightest sample; little else can be judged then."""
        return bool(self.names) and bool(
            self.signal[int(np.argmax(self.level))] < _DROWNED[self.evidence.photo.kind]
        )

    @property
    def ground(self) -> Array:
        """What the dark surroundings send out (3,), full scale 1, as far as it is left in the picture."""
        return self.evidence.stray.ground

    @cached_property
    def level(self) -> Array:
        """The highest channel of each sample (n,), full scale 1; 1 where nothing unclipped is left."""
        mean = self.evidence.emitted.mean
        return np.nan_to_num(mean.max(axis=1), nan=1.0) if len(mean) else np.zeros(0)

    @cached_property
    def signal(self) -> Array:
        """Of each sample (n,) its light over the noise of one cell, in its clearest channel."""
        mean = self.evidence.emitted.mean
        if not len(mean):
            return np.zeros(0)
        signal = (mean / np.sqrt(self.noise.variance(mean))).max(axis=1)
        return np.asarray(np.nan_to_num(signal, nan=np.inf))

    @cached_property
    def resolution(self) -> Array:
        """95 % semi-axis in u'v' of the error of each sample's mean (n,); NaN where there is none."""
        J = self.jacobian
        C = J @ self.evidence.emitted.covariance @ J.transpose(0, 2, 1)
        return np.array([ellipse_95(c)[0] if np.isfinite(c).all() else np.nan for c in C])

    @cached_property
    def jacobian(self) -> Array:
        """Derivative of u'v' by linear RGB at each sample, n x 2 x 3."""
        return self.evidence.camera.jacobian(self.evidence.emitted.mean)

    def shift(self, light: Array) -> Array:
        """How far light (n x 3) would pull each sample's colour in u'v' (n,), to first order; at most 0.5."""
        moved = np.linalg.norm(np.einsum("nij,nj->ni", self.jacobian, light), axis=1)
        return np.asarray(np.minimum(np.nan_to_num(moved), 0.5))
