"""Single photographs of a series that are not worth what the others are.

``SPOILS`` lists the ways: a finger before the lamp and in the picture, light let in that the file does not
tell of, two vials put down in each other's place, a picture out of focus.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.scene.blur import defocused, light_planes, sampled
from glowkin.scene.render import expose, photograph
from glowkin.scene.shot import Shot

if TYPE_CHECKING:
    from glowkin.scene.cameras import SceneCamera
    from glowkin.scene.shot import Exposure
    from glowkin.scene.stage import Scene

SPOILS = ("finger", "exposure", "exchanged", "blurred")


def spoiled_photograph(
    scene: Scene, camera: SceneCamera, rng: np.random.Generator, exposure: Exposure, how: str
) -> Shot:
    """Photograph the scene with this one thing wrong; ``ValueError`` for a way that is none of ``SPOILS``."""
    if how not in SPOILS:
        raise ValueError(f"{how!r} is no way to spoil a photograph; there are {', '.join(SPOILS)}")
    if how == "blurred":
        return _blurred(scene, camera, rng, exposure)
    if how == "exposure":
        untold = float(np.exp(rng.choice((-1.0, 1.0)) * rng.uniform(0.2, 1.0)))
        shot = photograph(scene, camera, rng, replace(exposure, exposure_s=exposure.exposure_s * untold))
        return replace(shot, exposure=exposure)
    return photograph((_shaded if how == "finger" else _exchanged)(scene, rng), camera, rng, exposure)


def _shaded(scene: Scene, rng: np.random.Generator) -> Scene:
    """About half of the samples in a shadow of their own depth, and skin scattering the lamp's violet."""
    samples = [
        replace(s, radiance=s.radiance * rng.uniform(0.2, 0.8), violet=s.violet * rng.uniform(2.0, 20.0))
        if rng.random() < 0.5
        else s
        for s in scene.samples
    ]
    return replace(scene, samples=tuple(samples))


def _exchanged(scene: Scene, rng: np.random.Generator) -> Scene:
    """Two samples in each other's place."""
    samples = list(scene.samples)
    i, j = rng.choice(len(samples), 2, replace=False)
    a, b = samples[i], samples[j]
    samples[i], samples[j] = replace(a, radiance=b.radiance), replace(b, radiance=a.radiance)
    return replace(scene, samples=tuple(samples))


def _blurred(scene: Scene, camera: SceneCamera, rng: np.random.Generator, exposure: Exposure) -> Shot:
    """Every point a disc as wide as a fifth to a half of a sample."""
    radius = float(np.median([s.shape.radius_px for s in scene.samples]) * rng.uniform(0.2, 0.5))
    planes = defocused(light_planes(scene, camera), radius)
    electrons = sampled(planes, camera.cfa_index) * np.float32(camera.throughput_e * exposure.relative)
    return Shot(expose(electrons, camera, rng, exposure.iso), camera, exposure, scene.truths())
