"""From a scene to the codes of a camera's mosaic: light, lens, electrons, noise, clipping.

Each sample is painted into its own box as one brightness map times three channel responses; only what is
smooth (lamp, vignetting, halo, light between neighbours) is worked out on a coarse grid.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.scene.shot import Exposure, Shot, shown
from glowkin.scene.stage import RIM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.scene.cameras import SceneCamera
    from glowkin.scene.clutter import Thing
    from glowkin.scene.stage import Scene, SceneSample
    from glowkin.scene.truth import SampleTruth

    Array: TypeAlias = "NDArray[np.float64]"
    Plane: TypeAlias = "NDArray[np.float32]"

COARSE = 8
"""Pixels to a step of the coarse grid."""

TILE = 256
HALO_NEAR, HALO_FAR, CROSS = 0.008, 0.06, 0.10
"""Widths (sigma) of halo and cross-light in shares of the frame's width."""


@dataclass
class _Canvas:
    """What is being painted: the mosaic in channel response, the albedo, and the smooth lamp field."""

    mosaic: Plane
    albedo: Plane
    lamp: Plane
    cfa: NDArray[np.uint8]

    def weights(self, box: tuple[slice, slice], response: Array) -> Plane:
        """The response of each pixel's own channel over the box."""
        return mosaic_of(response, self.cfa, box)


def mosaic_of(channels: Array, cfa: NDArray[np.uint8], box: tuple[slice, slice]) -> Plane:
    """Three numbers laid out over the box as the colour filters lie."""
    rows, columns = box
    period = channels.astype(np.float32)[np.roll(cfa, (-rows.start, -columns.start), (0, 1))]
    h, w = rows.stop - rows.start, columns.stop - columns.start
    repeats = (-(-h // period.shape[0]), -(-w // period.shape[1]))
    return np.asarray(np.tile(period, repeats)[:h, :w])


def photograph(
    scene: Scene,
    camera: SceneCamera,
    rng: np.random.Generator,
    exposure: Exposure | None = None,
    *,
    brightest: float | None = None,
) -> Shot:
    """Photograph a scene.

    With ``brightest`` (or no exposure at all: 0.6) the exposure time is chosen, as a careful photographer
    would, so that the brightest sample's highest channel reaches this share of the full well.
    """
    if exposure is None or brightest is not None:
        exposure = metered(scene, camera, exposure or Exposure(), 0.6 if brightest is None else brightest)
    light = light_mosaic(scene, camera)
    electrons = light * np.float32(camera.throughput_e * exposure.relative)
    codes = expose(electrons, camera, rng, exposure.iso)
    truths = tuple(_shown_truth(t, exposure.orientation, scene.size_px) for t in scene.truths())
    return Shot(codes, camera, exposure, truths)


def metered(scene: Scene, camera: SceneCamera, exposure: Exposure, brightest: float) -> Exposure:
    """The exposure with its time set, to three digits, for the brightest sample."""
    if not 0.0 < brightest < 2.0:
        raise WrongUseError(f"brightest {brightest}: give a share of the full well between 0 and 2")
    forms = [form for s in scene.samples for form in (s.radiance, s.second) if form is not None]
    peaks = [camera.response(form).max() for form in forms]
    peak = max([*peaks, 0.0]) or camera.response(scene.violet_spectrum).max()
    well = camera.full_well_e * 100.0 / exposure.iso
    seconds = brightest * well * exposure.f_number**2 / (camera.throughput_e * peak)
    return replace(exposure, exposure_s=float(f"{seconds:.3g}"))


def expose(
    electrons: NDArray[np.floating], camera: SceneCamera, rng: np.random.Generator, iso: float = 100.0
) -> NDArray[np.uint16]:
    """Codes from mean electrons: shot noise, clipping at the full well, read noise, rounding.

    Variance of the codes, unclipped: K (mean - black) + K^2 read^2 + 1/12 (EMVA 1288).
    """
    K = np.float32(camera.codes_per_electron(iso))
    counts = rng.poisson(electrons).astype(np.float32)
    np.minimum(counts, np.float32(camera.full_well_e), out=counts)
    counts += rng.standard_normal(counts.shape, dtype=np.float32) * np.float32(camera.read_noise_e)
    codes = np.rint(counts * K + np.float32(camera.black))
    return np.asarray(np.clip(codes, 0, camera.white), dtype=np.uint16)


def noiseless(
    electrons: NDArray[np.floating], camera: SceneCamera, iso: float = 100.0
) -> NDArray[np.float64]:
    """Mean codes, unrounded and unclipped, for exact checks."""
    return np.asarray(electrons, dtype=float) * camera.codes_per_electron(iso) + camera.black


def light_mosaic(scene: Scene, camera: SceneCamera) -> Plane:
    """The scene's light on each pixel in its own channel's response, before exposure; h x w."""
    canvas = _backdrop(scene, camera)
    for sample in scene.samples:
        _paint(canvas, scene, sample, camera)
    for thing in scene.things:
        _lay(canvas, thing, camera)
    if scene.halo or scene.crosslight:
        _scatter(canvas, scene)
    if scene.vignetting:
        canvas.mosaic *= _radial(scene.size_px, (0.5, 0.5), scene.vignetting)
    return canvas.mosaic


def _backdrop(scene: Scene, camera: SceneCamera) -> _Canvas:
    w, h = scene.size_px
    lamp = np.float32(scene.lamp) * _radial(scene.size_px, scene.lamp_centre, scene.lamp_unevenness)
    canvas = _Canvas(np.zeros((h, w), np.float32), np.empty((h, w), np.float32), lamp, camera.cfa_index)
    canvas.albedo[:] = scene.surroundings_albedo
    box = (slice(0, h), slice(0, w))
    glow = scene.surroundings_violet * scene.violet_spectrum
    if scene.surroundings_glow is not None:
        glow = glow + scene.surroundings_glow
    if glow.any() or scene.room:
        under_lamp = canvas.weights(box, camera.response(glow))
        room = scene.room * scene.surroundings_albedo * camera.response(scene.room_spectrum)
        canvas.mosaic += _cloth(scene) * (under_lamp * lamp + canvas.weights(box, room))
    return canvas


def _paint(canvas: _Canvas, scene: Scene, sample: SceneSample, camera: SceneCamera) -> None:
    """Lay one sample on the canvas: its glow, the lamp's violet from it, the room's light from it."""
    box = _box(scene, sample)
    if box is None:
        return
    rho, angle = _polar(scene, sample, box)
    edge = sample.shape.edge(angle.astype(float)).astype(np.float32)
    cover = _cover(sample, rho, edge)
    grain, glass = _grain(scene, sample, box), _glass(sample, rho, angle)
    glow = (cover * grain * _dome(sample, rho / edge) + 0.1 * glass) * canvas.lamp[box]
    violet = (sample.violet * cover * (0.5 + 0.5 * grain) + sample.glass_violet * glass) * canvas.lamp[box]
    room = scene.room * sample.albedo * (cover + 0.05 * glass)
    part = canvas.mosaic[box] * (1.0 - cover)
    for amount, spectrum in (
        *_forms(sample, glow, rho / edge, angle),
        (violet, scene.violet_spectrum),
        (room, scene.room_spectrum),
    ):
        part += amount * canvas.weights(box, camera.response(spectrum))
    canvas.mosaic[box] = part
    canvas.albedo[box] += cover * np.float32(sample.albedo - scene.surroundings_albedo)


def _forms(sample: SceneSample, glow: Plane, rho: Plane, angle: Plane) -> list[tuple[Plane, Array]]:
    """The glow of each place by the form it is in; rho in radii."""
    if sample.front is None or sample.second is None:
        return [(glow, sample.radiance)]
    share = np.clip(sample.front(rho.astype(float), angle.astype(float)), 0.0, 1.0).astype(np.float32)
    return [(glow * (1.0 - share), sample.radiance), (glow * share, sample.second)]


def _lay(canvas: _Canvas, thing: Thing, camera: SceneCamera) -> None:
    """Lay an object that is no sample on the canvas."""
    import cv2

    h, w = canvas.mosaic.shape
    low = np.clip(thing.outline_px.min(axis=0).astype(int) - 8, 0, (w, h))
    high = np.clip(thing.outline_px.max(axis=0).astype(int) + 9, 0, (w, h))
    if (high <= low).any():
        return
    box = (slice(low[1], high[1]), slice(low[0], high[0]))
    cover = np.zeros((high[1] - low[1], high[0] - low[0]), np.float32)
    for value, polygon in ((1.0, thing.outline_px), *((0.0, hole) for hole in thing.holes)):
        cv2.fillPoly(cover, [np.round((polygon - low) * 16).astype(np.int32)], value, shift=4)
    cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), thing.soft_px))
    canvas.mosaic[box] *= 1.0 - np.float32(thing.opacity) * cover
    canvas.mosaic[box] += cover * canvas.lamp[box] * canvas.weights(box, camera.response(thing.radiance))


def _box(scene: Scene, sample: SceneSample) -> tuple[slice, slice] | None:
    """The part of the frame the sample can touch, or None when it lies outside."""
    w, h = scene.size_px
    A = np.array(scene.placement)
    x, y = scene.placed(np.array([sample.shape.centre_px]))[0]
    reach = sample.shape.reach_px * np.sqrt(abs(np.linalg.det(A[:, :2]))) * 1.05 + 4.0
    rows = slice(max(int(y - reach), 0), min(int(y + reach) + 1, h))
    columns = slice(max(int(x - reach), 0), min(int(x + reach) + 1, w))
    return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None


def _to_stage(scene: Scene, box: tuple[slice, slice]) -> tuple[Array, Array]:
    """The affine from box pixels to the stage: (2 x 2, 2)."""
    A = np.array(scene.placement)
    back = np.linalg.inv(A[:, :2])
    return back, back @ (np.array([box[1].start, box[0].start]) - A[:, 2])


def _polar(scene: Scene, sample: SceneSample, box: tuple[slice, slice]) -> tuple[Plane, Plane]:
    """Distance from the sample's centre and angle, on the stage, for each pixel of the box."""
    back, origin = _to_stage(scene, box)
    rows, columns = box
    x = np.arange(columns.stop - columns.start, dtype=np.float32)[None, :]
    y = np.arange(rows.stop - rows.start, dtype=np.float32)[:, None]
    (a, b), (c, d) = back.astype(np.float32)
    dx = a * x + b * y + np.float32(origin[0] - sample.shape.centre_px[0])
    dy = c * x + d * y + np.float32(origin[1] - sample.shape.centre_px[1])
    return np.hypot(dx, dy), np.arctan2(dy, dx)


def _cover(sample: SceneSample, rho: Plane, edge: Plane) -> Plane:
    """1 inside, 0 outside, half on the outline; spots and heaps end softer than powder in glass."""
    soft = {"vial": 1.6, "spot": 2.5, "heap": 2.0, "band": 2.5}[sample.shape.kind]
    return np.asarray(np.clip((edge - rho) / np.float32(soft) + np.float32(0.5), 0.0, 1.0))


def _dome(sample: SceneSample, rho: Plane) -> Plane:
    """How brightness falls towards the edge; rho in radii. Its mean is near 1."""
    fall = (
        {"vial": 0.18, "spot": 0.06, "heap": 0.30, "band": 0.5}[sample.shape.kind] if sample.texture else 0.0
    )
    return np.asarray(1.0 + fall * (0.4 - np.minimum(rho, 1.0) ** 3), dtype=np.float32)


def _glass(sample: SceneSample, rho: Plane, angle: Plane) -> Plane:
    """The vial's wall: a ring, brighter on one side, 1 at its brightest."""
    if sample.shape.kind != "vial":
        return np.zeros_like(rho)
    r = rho / np.float32(sample.shape.radius_px)
    side = 0.65 + 0.35 * np.cos(angle - (sample.seed % 7))
    ring = np.exp(-0.5 * ((r - (RIM - 0.05)) / 0.022) ** 2) + 0.25 * ((r > 1.0) & (r < RIM - 0.05))
    return np.asarray(side * ring, dtype=np.float32)


def _grain(scene: Scene, sample: SceneSample, box: tuple[slice, slice]) -> Plane:
    """The powder's unevenness, mean 1, fixed to the sample wherever the camera stands."""
    rows, columns = box
    if not sample.texture:
        return np.ones((rows.stop - rows.start, columns.stop - columns.start), np.float32)
    import cv2

    tile = _noise_tile(sample.seed, (0.8, 2.5, 9.0, 30.0))
    back, origin = _to_stage(scene, box)
    scale = TILE / (2.6 * sample.shape.radius_px)
    shift = (origin - np.array(sample.shape.centre_px)) * scale + TILE / 2.0
    M = np.column_stack([back * scale, shift])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = (columns.stop - columns.start, rows.stop - rows.start)
    warped = cv2.warpAffine(tile, M, size, flags=flags, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(np.maximum(1.0 + sample.texture * warped, 0.05), dtype=np.float32)


def _cloth(scene: Scene) -> Plane:
    """Black cloth (or calmer ground): uneven over millimetres, with a faint weave; mean 1."""
    w, h = scene.size_px
    tile = 1.0 + 0.16 * _noise_tile(scene.seed, (1.0, 3.0, 14.0))
    y, x = np.mgrid[:TILE, :TILE]
    weave = 1.0 + 0.12 * np.sin(2.0 * np.pi * (x + y) / 8.0)
    cloth = np.maximum(1.0 + scene.surroundings_texture * (tile * weave - 1.0), 0.1).astype(np.float32)
    return np.asarray(np.tile(cloth, (-(-h // TILE), -(-w // TILE)))[:h, :w])


def _noise_tile(seed: int, sizes: tuple[float, ...]) -> Plane:
    """Periodic noise of zero mean and unit variance, equal parts of Gaussian grains of these sizes."""
    rng = np.random.default_rng(seed)
    f = np.fft.fftfreq(TILE)
    square = f[:, None] ** 2 + f[None, : TILE // 2 + 1] ** 2
    total = np.zeros((TILE, TILE))
    for size in sizes:
        spectrum = np.fft.rfft2(rng.standard_normal((TILE, TILE))) * np.exp(
            -2.0 * (np.pi * size) ** 2 * square
        )
        part = np.fft.irfft2(spectrum, s=(TILE, TILE))
        total += (part - part.mean()) / part.std()
    return np.asarray(total / total.std(), dtype=np.float32)


def _radial(size_px: tuple[int, int], centre: tuple[float, float], fall: float) -> Plane:
    """A smooth field, 1 at the centre (shares of the frame) and 1 - fall half a diagonal away."""
    w, h = size_px
    half = 0.25 * (w * w + h * h)
    x = (np.arange(w, dtype=np.float32) - np.float32(centre[0] * w)) ** 2 / np.float32(half)
    y = (np.arange(h, dtype=np.float32) - np.float32(centre[1] * h)) ** 2 / np.float32(half)
    return np.asarray(1.0 / (1.0 + np.float32(fall / (1.0 - fall)) * (x[None, :] + y[:, None])), np.float32)


def _scatter(canvas: _Canvas, scene: Scene) -> None:
    """Spread a share of the light widely (lens), and let the samples light what surrounds them."""
    import cv2

    coarse = coarse_channels(canvas.mosaic, canvas.cfa)
    width = scene.size_px[0] / COARSE
    near, far, cross = (
        cv2.GaussianBlur(coarse, (0, 0), share * width, borderType=cv2.BORDER_CONSTANT)
        for share in (HALO_NEAR, HALO_FAR, CROSS)
    )
    veil = _fine(np.float32(0.65 * scene.halo) * near + np.float32(0.35 * scene.halo) * far, canvas)
    canvas.mosaic *= np.float32(1.0 - scene.halo)
    canvas.mosaic += veil
    if scene.crosslight:
        gain = np.float32(10.0 * scene.crosslight)
        canvas.mosaic += canvas.albedo * _fine(gain * cross, canvas)


def coarse_channels(mosaic: Plane, cfa: NDArray[np.uint8]) -> Plane:
    """Mean of each channel over blocks of about COARSE pixels: hc x wc x 3."""
    import cv2

    h, w = mosaic.shape
    size = (max(-(-w // COARSE), 1), max(-(-h // COARSE), 1))
    p, q = cfa.shape
    out = np.zeros((size[1], size[0], 3), np.float32)
    for i in range(p):
        for j in range(q):
            plane = np.ascontiguousarray(mosaic[i::p, j::q])
            out[..., cfa[i, j]] += cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
    return np.asarray(out / np.maximum(np.bincount(cfa.ravel(), minlength=3), 1).astype(np.float32))


def _fine(coarse: Plane, canvas: _Canvas) -> Plane:
    """Coarse channels back on the full mosaic, each pixel its own channel."""
    import cv2

    h, w = canvas.mosaic.shape
    p, q = canvas.cfa.shape
    out = np.empty((h, w), np.float32)
    full = [cv2.resize(coarse[..., c], (w, h), interpolation=cv2.INTER_LINEAR) for c in range(3)]
    for i in range(p):
        for j in range(q):
            out[i::p, j::q] = full[canvas.cfa[i, j]][i::p, j::q]
    return out


def _shown_truth(truth: SampleTruth, orientation: int, size_px: tuple[int, int]) -> SampleTruth:
    if orientation == 1:
        return truth
    points = np.array([truth.centre_px, *truth.outline_px])
    (centre, *outline) = [(float(x), float(y)) for x, y in shown(points, orientation, size_px)]
    return replace(truth, centre_px=centre, outline_px=tuple(outline))
