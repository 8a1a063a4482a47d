"""A camera of which everything is known, for benchmarks of what is not the camera."""

from __future__ import annotations

import numpy as np

from glowkin.camera.emission import Camera
from glowkin.camera.grid import observer
from glowkin.camera.sensitivities import Sensitivities


def exact_camera(to_xyz, name="exact"):
    """A camera whose channels are exact mixtures of the CIE 1931 functions, known without error."""
    mean = np.linalg.inv(to_xyz) @ observer(2).T
    return Camera(name, "sensitivities", Sensitivities(mean, np.zeros((*mean.shape, 0))))
