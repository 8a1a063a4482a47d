"""Photographs that went wrong, each in one way and by a known amount.

>>> import numpy as np
>>> rng = np.random.default_rng(1)
>>> good = competent(rng, n_samples=3, size_px=(300, 200))
>>> bad = with_fault(good, "out of focus", "strong", rng)
>>> bad.shoot(rng).size_px
(300, 200)

``FAULTS`` lists the ways; ``series_with_fault`` bends photographs of one arrangement against each other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from io import BytesIO
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.scene.blur import banded, defocused, fogged, light_planes, sampled, shaken
from glowkin.scene.cameras import SceneCamera, default_camera
from glowkin.scene.clutter import brightener
from glowkin.scene.develop import Development, camera_to_space, jpeg_bytes, white_balance_gains
from glowkin.scene.render import expose, metered
from glowkin.scene.shot import Exposure, Shot
from glowkin.scene.spectra import band
from glowkin.scene.stage import RIM, Scene, random_scene, random_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Plane: TypeAlias = "NDArray[np.float32]"

STRENGTHS = ("weak", "medium", "strong")


@dataclass(frozen=True)
class Setup:
    """A photograph about to be taken.

    ``light`` are the accidents that befall the light, in order. A ``rendered`` photograph is exposed for its
    developed values, which white balance and saturation lift above the sensor's.
    """

    scene: Scene
    camera: SceneCamera = field(default_factory=default_camera)
    exposure: Exposure = field(default_factory=Exposure)
    light: tuple[Callable[[Plane], Plane], ...] = ()
    development: Development = field(default_factory=Development)
    rendered: bool = False

    def shoot(self, rng: np.random.Generator) -> Shot:
        """The photograph as it left the sensor."""
        planes = light_planes(self.scene, self.camera)
        for accident in self.light:
            planes = accident(planes)
        electrons = sampled(planes, self.camera.cfa_index) * np.float32(
            self.camera.throughput_e * self.exposure.relative
        )
        codes = expose(electrons, self.camera, rng, self.exposure.iso)
        return Shot(codes, self.camera, self.exposure, self.scene.truths())

    def metered(self, brightest: float) -> Setup:
        """The same with the exposure time set so that the brightest sample reaches this share of full."""
        setup = replace(self, exposure=metered(self.scene, self.camera, self.exposure, min(brightest, 1.9)))
        return setup.exposed(self._raw_peak() / self._developed_peak()) if self.rendered else setup

    def _raw_peak(self) -> float:
        return max([float(self.camera.response(s.radiance).max()) for s in self.scene.samples], default=1.0)

    def _developed_peak(self) -> float:
        """The highest value the camera's own development makes of a sample, as `_raw_peak` counts."""
        d = self.development
        gains = white_balance_gains(self.camera, self.exposure.white_balance_kelvin, d.white_balance_error)
        matrix = camera_to_space(self.camera, d.space).T
        balanced = [self.camera.response(s.radiance) * gains * d.brighten for s in self.scene.samples]
        return max([float(max(b.max(), (b @ matrix).max())) for b in balanced], default=1.0)

    def exposed(self, factor: float) -> Setup:
        """The same with the exposure time multiplied."""
        seconds = float(f"{self.exposure.exposure_s * factor:.3g}")
        return replace(self, exposure=replace(self.exposure, exposure_s=seconds))


def competent(
    rng: np.random.Generator,
    n_samples: int = 4,
    size_px: tuple[int, int] = (900, 600),
    camera: SceneCamera | None = None,
    *,
    kinds: tuple[str, ...] = ("vial", "spot", "heap"),
    rendered: bool = False,
) -> Setup:
    """A photograph without fault: clean lamp, dark room, samples apart, brightest sample at half of full."""
    scene = random_scene(
        rng, n_samples, float(rng.uniform(2.0, 6.0)), size_px=size_px, min_gap_px=0.045 * size_px[0],
        kinds=kinds, violet=(0.0, 0.003), surroundings_violet=float(rng.uniform(0.0003, 0.001)),
        halo=(0.003, 0.008),
    )  # fmt: skip
    scene = replace(
        scene,
        lamp_unevenness=float(rng.uniform(0.03, 0.2)),
        lamp_centre=(float(rng.uniform(0.3, 0.7)), float(rng.uniform(0.3, 0.7))),
        vignetting=float(rng.uniform(0.03, 0.2)),
        crosslight=float(rng.uniform(0.001, 0.003)),
    )
    setup = Setup(scene, camera or default_camera(), development=_development(rng), rendered=rendered)
    return setup.metered(float(rng.uniform(0.3, 0.65)))


def _development(rng: np.random.Generator) -> Development:
    """As cameras develop: either space, some tone curve, white balance a little off, any subsampling."""
    return Development(
        space="Display P3" if rng.random() < 0.3 else "sRGB",
        subsampling=("4:4:4", "4:2:2", "4:2:0")[int(rng.integers(3))],
        quality=int(rng.integers(85, 98)),
        tone=float(rng.uniform(0.0, 0.5)),
        white_balance_error=(float(rng.uniform(0.93, 1.07)), float(rng.uniform(0.93, 1.07))),
    )


Accident = Callable[[Setup, int, np.random.Generator], Setup]


def _overexposed(setup: Setup, s: int, _rng: np.random.Generator) -> Setup:
    return setup.metered((1.1, 1.5, 1.95)[s])


def _underexposed(setup: Setup, s: int, _rng: np.random.Generator) -> Setup:
    return setup.metered((0.012, 0.005, 0.0015)[s])


def _noisy(setup: Setup, s: int, _rng: np.random.Generator) -> Setup:
    """Sensitivity so high that 150, 50 or 20 electrons fill the scale, the time cut to match.

    The black level stands above the noise, as cameras have it.
    """
    iso = float(round(100.0 * setup.camera.full_well_e / (150.0, 50.0, 20.0)[s], -2))
    black = 3000 if setup.camera.bits == 14 else 750
    camera = setup.camera.with_(read_noise_e=4.0, black=black)
    faster = replace(setup.exposure, iso=iso)
    return replace(setup, camera=camera, exposure=faster).exposed(setup.exposure.iso / iso)


def _defocused(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    radius = (0.005, 0.010, 0.018)[s] * setup.scene.size_px[0] * float(rng.uniform(0.9, 1.1))
    return _befallen(setup, lambda planes: defocused(planes, radius))


def _shaken(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    length = (0.010, 0.020, 0.035)[s] * setup.scene.size_px[0] * float(rng.uniform(0.9, 1.1))
    angle, bend = float(rng.uniform(0.0, np.pi)), float(rng.uniform(-0.1, 0.1))
    return _befallen(setup, lambda planes: shaken(planes, length, angle, bend))


def _banded(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """Mains flicker of 100 or 120 Hz against a readout of 15-60 ms: 1.5 to 7 bands."""
    bands, phase = float(rng.uniform(1.5, 7.0)), float(rng.uniform(0.0, 2.0 * np.pi))
    return _befallen(setup, lambda planes: banded(planes, (0.12, 0.3, 0.7)[s], bands, phase))


def _hot_spot(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """The lamp beside the middle: a broad pool of light, or a torch's narrower beam."""
    angle = float(rng.uniform(0.0, 2.0 * np.pi))
    centre = (0.5 + 0.33 * float(np.cos(angle)), 0.5 + 0.33 * float(np.sin(angle)))
    if rng.random() < 0.5:
        width = (0.9, 0.6, 0.45)[s]
        return _befallen(setup, lambda planes: _lamp(planes, centre, width))
    return _staged(setup, lamp_unevenness=(0.45, 0.65, 0.85)[s], lamp_centre=centre)


def _vignetted(setup: Setup, s: int, _rng: np.random.Generator) -> Setup:
    return _staged(setup, vignetting=(0.45, 0.65, 0.85)[s], lamp_unevenness=0.05)


def _violet(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """A lamp without a good filter: cloth and powder send its violet back."""
    share = (0.05, 0.2, 0.5)[s]
    samples = tuple(
        replace(x, violet=share * float(rng.uniform(0.6, 1.4)), glass_violet=share)
        for x in setup.scene.samples
    )
    return _staged(setup, samples=samples, surroundings_violet=0.2 * share)


def _room(setup: Setup, s: int, _rng: np.random.Generator) -> Setup:
    return _staged(setup, room=(0.06, 0.25, 1.0)[s])


def _paper(setup: Setup, s: int, _rng: np.random.Generator) -> Setup:
    return _staged(setup, surroundings_glow=brightener((0.1, 0.25, 0.5)[s]), surroundings_albedo=0.8)


def _fogged(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """One vial or several, cold from storage, in warm air; other samples become vials first."""
    samples = tuple(
        replace(x, shape=replace(x.shape, kind="vial", harmonics=())) for x in setup.scene.samples
    )
    cold = rng.permutation(len(samples))[: int(rng.integers(1, len(samples) + 1))]
    discs = [(*samples[i].shape.centre_px, RIM * samples[i].shape.radius_px) for i in cold]
    veil, seed = (0.45, 0.7, 0.9)[s], int(rng.integers(2**31))
    staged = _staged(setup, samples=samples)
    return _befallen(staged, lambda planes: fogged(planes, discs, veil, np.random.default_rng(seed)))


def _tiny(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """Samples photographed from far away."""
    radius = (10.0, 7.0, 4.5)[s]
    samples = tuple(
        replace(x, shape=replace(x.shape, radius_px=radius * float(rng.uniform(0.9, 1.1))))
        for x in setup.scene.samples
    )
    return _staged(setup, samples=samples)


def _bright_neighbour(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """A dim sample close to one many times brighter, whose light falls on it and scatters in the lens."""
    ratio, gap = (12.0, 25.0, 50.0)[s], (0.03, 0.02, 0.015)[s] * setup.scene.size_px[0]
    w, h = setup.scene.size_px
    first = setup.scene.samples[0]
    radius = 0.13 * min(w, h)
    bright = random_shape(rng, "spot", (0.5 * w - radius - 0.5 * gap, 0.5 * h), radius)
    dim = random_shape(rng, "spot", (0.5 * w + 0.6 * radius + 0.5 * gap, 0.5 * h), 0.6 * radius)
    other = brightener(1.0) if int(np.argmax(first.radiance)) > 120 else random_red()
    power = float(first.radiance.sum())
    pair = (
        replace(first, shape=bright),
        replace(first, name="dim", shape=dim, radiance=other * power / ratio),
    )
    staged = replace(setup, scene=replace(setup.scene, samples=pair, crosslight=0.012, halo=0.012))
    return staged.metered(0.35)


def random_red() -> NDArray[np.float64]:
    """A broad red band for a sample that must differ from a blue or green one."""
    return band(630.0, 80.0)


def _lamp(planes: Plane, centre: tuple[float, float], width: float) -> Plane:
    """A torch's beam: Gaussian about ``centre`` (shares of the frame), sigma ``width`` frame heights."""
    h, w = planes.shape[:2]
    x = ((np.arange(w, dtype=np.float32) + 0.5) / h - centre[0] * w / h) ** 2
    y = ((np.arange(h, dtype=np.float32) + 0.5) / h - centre[1]) ** 2
    return np.asarray(planes * np.exp(-0.5 * (x[None, :] + y[:, None]) / width**2)[..., None])


def _at_the_edge(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """The largest sample cut by the frame by a fifth, a third or a half of its width."""
    i = int(np.argmax([x.shape.radius_px for x in setup.scene.samples]))
    sample = setup.scene.samples[i]
    radius = sample.shape.radius_px
    left = rng.random() < 0.5
    x = radius * (0.6, 0.3, 0.0)[s]
    centre = (x if left else setup.scene.size_px[0] - x, sample.shape.centre_px[1])
    moved = replace(sample, shape=replace(sample.shape, centre_px=centre))
    reach = radius + 20.0
    clear = [
        other
        for j, other in enumerate(setup.scene.samples)
        if j != i and _apart(centre, other.shape.centre_px) > reach + other.shape.reach_px
    ]
    return _staged(setup, samples=(moved, *clear))


def _apart(a: tuple[float, float], b: tuple[float, float]) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))


def _merged(setup: Setup, _s: int, _rng: np.random.Generator) -> Setup:
    return replace(setup, exposure=replace(setup.exposure, merged=True))


def _balanced(setup: Setup, s: int, rng: np.random.Generator) -> Setup:
    """Automatic white balance: the camera leans towards making the scene grey."""
    lean = (0.15, 0.3, 0.6)[s]
    gains = (float(np.exp(lean * rng.uniform(-1, 1))), float(np.exp(lean * rng.uniform(-1, 1))))
    automatic = replace(setup.exposure, automatic_white_balance=True)
    return replace(
        setup, exposure=automatic, development=replace(setup.development, white_balance_error=gains)
    )


def _empty(setup: Setup, _s: int, _rng: np.random.Generator) -> Setup:
    """Nothing there that glows."""
    return _staged(setup, samples=())


def _staged(setup: Setup, **changes: object) -> Setup:
    return replace(setup, scene=replace(setup.scene, **changes))  # type: ignore[arg-type]


def _befallen(setup: Setup, accident: Callable[[Plane], Plane]) -> Setup:
    return replace(setup, light=(*setup.light, accident))


FAULTS: dict[str, Accident] = {
    "overexposed": _overexposed,
    "underexposed": _underexposed,
    "noisy": _noisy,
    "out of focus": _defocused,
    "shaken": _shaken,
    "flicker banding": _banded,
    "lamp hot spot": _hot_spot,
    "vignetting": _vignetted,
    "lamp violet": _violet,
    "room light": _room,
    "glowing paper": _paper,
    "fogged vial": _fogged,
    "tiny samples": _tiny,
    "bright neighbour": _bright_neighbour,
    "cut by the frame": _at_the_edge,
    "merged frames": _merged,
    "automatic white balance": _balanced,
    "nothing glows": _empty,
}
"""What can be wrong with one photograph."""

SERIES_FAULTS = ("exposure changed", "white balance changed", "camera moved")
"""What can be wrong between photographs of one arrangement."""


def with_fault(setup: Setup, fault: str, strength: str, rng: np.random.Generator) -> Setup:
    """The photograph with one thing wrong."""
    if fault not in FAULTS or strength not in STRENGTHS:
        raise WrongUseError(f"fault {fault!r}, {strength!r}: take one of {', '.join(FAULTS)}; weak to strong")
    return FAULTS[fault](setup, STRENGTHS.index(strength), rng)


def series_with_fault(
    setup: Setup, fault: str | None, strength: str, rng: np.random.Generator, length: int = 3
) -> list[Setup]:
    """Photographs of one arrangement; with a fault, some after the first are bent."""
    s, later = STRENGTHS.index(strength), []
    for i in range(1, length):
        bent = _bent(setup, fault, s, rng) if i == length - 1 or rng.random() < 0.5 else setup
        when = setup.exposure.taken_at.replace(minute=5 * i)
        later.append(replace(bent, exposure=replace(bent.exposure, taken_at=when)))
    return [setup, *later]


def _bent(setup: Setup, fault: str | None, s: int, rng: np.random.Generator) -> Setup:
    side = 1.0 if rng.random() < 0.5 else -1.0
    if fault == "exposure changed":
        return setup.exposed(2.0 ** (-(0.33, 1.0, 2.0)[s]))
    if fault == "white balance changed":
        red, blue = setup.development.white_balance_error
        shift = float(np.exp(side * (0.10, 0.25, 0.5)[s]))
        return replace(
            setup, development=replace(setup.development, white_balance_error=(red * shift, blue / shift))
        )
    if fault == "camera moved":
        shift = side * (0.01, 0.03, 0.08)[s] * setup.scene.size_px[0]
        return _staged(setup, placement=((1.0, 0.0, shift), (0.0, 1.0, 0.5 * shift)))
    return setup


def lamp_off_of(setup: Setup, fault: str | None, strength: str) -> Setup:
    """The frame with the lamp off that goes with the photograph; a fault gives it another exposure."""
    off = replace(setup, scene=setup.scene.lamp_off(), light=())
    return off.exposed((1.3, 2.0, 8.0)[STRENGTHS.index(strength)]) if fault else off


def sent_by_messenger(shot: Shot, development: Development, strength: str = "medium") -> bytes:
    """The JPEG as messengers pass it on: no Exif, no profile, smaller and coarser the stronger."""
    from PIL import Image

    s = STRENGTHS.index(strength)
    with Image.open(BytesIO(jpeg_bytes(shot, development))) as image:
        smaller = image.resize(
            [round(side * (1.0, 0.8, 0.6)[s]) for side in image.size], Image.Resampling.LANCZOS
        )
    out = BytesIO()
    smaller.save(out, "JPEG", quality=(85, 75, 60)[s], subsampling="4:2:0")
    return out.getvalue()
