"""The answers of a camera, made once and then kept on disk by all that they follow from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, TypeVar, cast

import numpy as np

from glowkin.camera.answers import VERSION as ANSWERS_VERSION
from glowkin.camera.answers import Answers, seen_by
from glowkin.camera.cache import cached, content
from glowkin.camera.development import VERSION as DEVELOPMENT_VERSION
from glowkin.camera.development import developed
from glowkin.camera.emission_prior import VERSION, emission_prior
from glowkin.camera.overexposed import VERSION as OVER_VERSION
from glowkin.camera.overexposed import Overexposed, developed_over, seen_over
from glowkin.camera.sensitivities import camera_prior

if TYPE_CHECKING:
    from collections.abc import Callable

    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission_prior import EmissionPrior
    from glowkin.camera.sensitivities import Sensitivities

_Kind = TypeVar("_Kind", bound=Answers)
_FEW = 4
_LATELY: dict[str, Answers] = {}
"""Answers lately asked for: a series is seen by one camera, photograph after photograph."""


@dataclass(frozen=True, eq=False)
class Description:
    """What is known of a camera: its sensitivities, and whether they are ``calibrated`` or only follow from a
    file's matrices, or of a rendered file its colour space (3 x 3 to XYZ) and the error of its white balance.
    """

    sensitivities: Sensitivities | None
    space: Array | None
    balance: float
    calibrated: bool

    @property
    def key(self) -> str:
        """What its answers are kept by."""
        known = self.sensitivities
        if known is not None:
            return f"{self.calibrated} {content(known.mean, known.loadings)}"
        cameras = camera_prior()
        told = content(np.asarray(self.space), cameras.mean, cameras.loadings)
        return f"{DEVELOPMENT_VERSION} {told} {self.balance}"


def answers_kept(camera: Description, observer: int) -> Answers:
    """What the camera shows of the prior's spectra."""
    of_camera = partial(seen_by, calibrated=camera.calibrated)
    return _kept(camera, observer, "", Answers, of_camera, developed)


def overexposed_kept(camera: Description, observer: int) -> Overexposed:
    """What it shows of them when they are too bright for it."""
    return _kept(camera, observer, f"over {OVER_VERSION} ", Overexposed, seen_over, developed_over)


def _kept(
    camera: Description,
    observer: int,
    version: str,
    kind: type[_Kind],
    of_camera: Callable[[EmissionPrior, Sensitivities, int], _Kind],
    of_files: Callable[[EmissionPrior, Array, float, int], _Kind],
) -> _Kind:
    """Answers of a kind, from memory or the disk where they were made before."""
    key = f"{ANSWERS_VERSION} {VERSION} {version}{observer} {camera.key}"

    def table() -> Array:
        prior = emission_prior()
        if camera.sensitivities is None:
            made = of_files(prior, np.asarray(camera.space), camera.balance, observer)
        else:
            made = of_camera(prior, camera.sensitivities, observer)
        known = () if made.likely is None else (made.likely, made.ions)
        return np.column_stack([made.at, made.uv_prime, made.log_luminance, made.band, made.drawn, *known])

    if key not in _LATELY:
        while len(_LATELY) >= _FEW:
            del _LATELY[next(iter(_LATELY))]
        t = cached(key, table).astype(float)
        told, likely, ions = t, None, None
        if kind is Answers and camera.sensitivities is not None and camera.calibrated:
            told, likely, ions = t[:, :-4], t[:, -4:-1], t[:, -1] > 0
        _LATELY[key] = kind(t[:, :3], told[:, 8:], t[:, 3:5], t[:, 5], t[:, 6:8], likely, ions)
    return cast("_Kind", _LATELY[key])
