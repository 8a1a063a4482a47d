"""What stray light costs, and what a lamp-off frame and the removal of neighbours' light bring back.

    python benchmarks/stray.py [--scenes 40] [--only room neighbour] [--any-colour]

A camera that meets the Luther condition, measured with its exact matrix, so that what is left is stray
light. Room light: the same scenes in the dark, in room light, and in room light with a lamp-off frame; JPEG
with colours of the file's colour space only, or, ``--any-colour``, with all, by a camera that is not known.
Neighbour: a dim sample beside one 30 times brighter of another colour; the lens's veil is drawn in several
shapes, some of them no mixture of a few bells, and put on by convolution here, not by the renderer. Stray
light matters where it pulls the dim sample further than ``MATTERS`` from where it lies in the same scene
without any (nothing removed in either); told by themselves, since where there is none nothing can be halved.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from coverage import D65_KELVIN, in_gamut, pairs
from exact import exact_camera
from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.observer import cmfs
from glowkin.light.decode import open_photo
from glowkin.scene import render
from glowkin.scene.cameras import LUTHER, luther_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import expose, light_mosaic, metered
from glowkin.scene.shot import Exposure, Shot
from glowkin.scene.spectra import emitters
from glowkin.scene.stage import Scene, SceneSample, Shape, random_scene

SIZE = (800, 560)
ROOMS = (0.02, 0.1, 0.5)
VEILS = (
    "none",
    "renderer",
    "exponential",
    "power-law",
    "ghost",
    "sharp ghost",
    "blue ghost",
    "smaller ghost",
)
MATTERS = 0.003


def shot_of(scene, rng, exposure, veil="renderer"):
    """A photograph of the scene at this exposure, its lens veil of the given shape."""
    camera = luther_camera()
    if veil == "renderer":
        light = light_mosaic(scene, camera)
    else:
        light = veiled(light_mosaic(replace(scene, halo=0.0), camera), camera.cfa_index, veil)
    electrons = light * np.float32(camera.throughput_e * exposure.relative)
    return Shot(expose(electrons, camera, rng, exposure.iso), camera, exposure, scene.truths())


def veiled(mosaic, cfa, veil, share=0.012):
    """The mosaic with a share of its light spread by the lens, each channel by itself."""
    if veil == "none":
        return mosaic
    coarse = render.coarse_channels(mosaic, cfa)
    h, w = coarse.shape[:2]
    y, x = np.mgrid[-h + 1 : h, -w + 1 : w].astype(np.float32)
    r = np.hypot(x, y) / w
    spread = np.exp(-r / 0.05) if veil == "exponential" else 1.0 / (0.02 + r) ** 2.2
    kernel = (share * spread / spread.sum()).astype(np.float32)
    halo = np.stack([convolved(coarse[..., c], kernel) for c in range(3)], axis=2)
    if veil.endswith("ghost"):
        halo = 0.7 * halo + ghost(coarse, veil)
    full = render._Canvas(mosaic, mosaic, mosaic, cfa)
    return mosaic * np.float32(1 - share) + render._fine(np.ascontiguousarray(halo, np.float32), full)


def ghost(coarse, kind):
    """A reflection in the lens, turned about the middle: of 0.2 %, sharper, coloured, or of 0.8 the size."""
    h, w = coarse.shape[:2]
    sigma = (0.006 if kind == "sharp ghost" else 0.02) * w
    scale = -0.8 if kind == "smaller ghost" else -1.0
    middle = np.array([w - 1, h - 1]) / 2
    turn = np.column_stack([scale * np.eye(2), middle * (1 - scale)])
    turned = cv2.warpAffine(cv2.GaussianBlur(coarse, (0, 0), sigma), turn, (w, h))
    return turned * np.float32([0.0005, 0.001, 0.002] if kind == "blue ghost" else 0.002)


def convolved(plane, kernel):
    """Full convolution by the transform, cut to the plane."""
    from scipy.signal import fftconvolve

    (h, w), (rows, columns) = plane.shape, kernel.shape
    top, left = rows // 2, columns // 2
    return fftconvolve(plane, kernel)[top : top + h, left : left + w]


def opened(shot, path):
    if path.suffix == ".dng":
        return open_photo(write_dng(shot, path)), (np.linalg.inv(LUTHER),)
    photo = open_photo(write_jpeg(shot, path, Development(subsampling="4:4:4")))
    return photo, photo.to_xyz


def measured_of(shot, path, known=True, **frames):
    photo, matrices = opened(shot, path)
    return recipes.measure_photo(photo, Settings(**frames), exact_camera(matrices[-1]) if known else None)


def figures(measured, truths):
    """Name: (error, squared Mahalanobis distance, semi-axis, flags) of each sample."""
    out = {}
    for sample, truth in pairs(measured, truths):
        error = np.array([sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime])
        C = np.array(sample.u_prime_v_prime_covariance)
        axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(C)[1])
        out[truth.name] = (np.linalg.norm(error), error @ np.linalg.solve(C, error), axis, sample.flags)
    return out


def shift_by_room(scene):
    """How far the room's light truly pulls each sample (the largest), in u'v'."""
    room = scene.room * np.asarray(scene.room_spectrum) @ cmfs(2)[1]
    own = np.array([s.radiance @ cmfs(2)[1] for s in scene.samples])
    mixed = own + np.array([[s.albedo] for s in scene.samples]) * room
    return np.linalg.norm(XYZ_to_uv_prime(mixed) - XYZ_to_uv_prime(own), axis=1).max()


def line(title, rows):
    if not rows:
        print(f"{title:58} nothing")
        return
    error, m2, axis = np.array([r[:3] for r in rows]).T
    print(
        f"{title:58} n {len(rows):4} error median {np.median(error):.5f} p90 {np.quantile(error, 0.9):.5f} "
        f"cover {np.mean(m2 <= CHI2_95_2D):.3f} semi-axis {np.median(axis):.5f}",
        flush=True,
    )


def room(kind, scenes, folder, any_colour):
    spectra = emitters() if kind == "dng" or any_colour else in_gamut()
    path, off = folder / f"shot.{kind}", folder / f"off.{kind}"
    dark, raised = [], []
    lit = {level: ([], [], []) for level in ROOMS}
    for seed in range(scenes):
        rng = np.random.default_rng([seed, 11])
        cloth = rng.uniform(0, 0.008)
        scene = random_scene(
            rng, 6, size_px=SIZE, spectra=spectra, violet=(0.0, 3 * cloth), surroundings_violet=cloth
        )
        exposure = metered(scene, luther_camera(), Exposure(white_balance_kelvin=D65_KELVIN), 0.5)
        in_dark = figures(measured_of(shot_of(scene, rng, exposure), path, not any_colour), scene.truths())
        dark += in_dark.values()
        raised.append(any("room-light" in row[3] for row in in_dark.values()))
        for level, (without, with_off, flagged) in lit.items():
            bright = replace(scene, room=level)
            opened(shot_of(bright.lamp_off(), rng, exposure), off)
            shot = shot_of(bright, rng, exposure)
            measured = measured_of(shot, path, not any_colour)
            without.extend(figures(measured, scene.truths()).values())
            if shift_by_room(bright) > MATTERS:
                flagged.append(any("room-light" in s.flags for s in measured.samples))
            cleared = measured_of(shot, path, not any_colour, lamp_off=(off,))
            with_off.extend(figures(cleared, scene.truths()).values())
    line(f"{kind} dark, room-light on {np.mean(raised):.3f} of scenes", dark)
    for level, (without, with_off, flagged) in lit.items():
        told = f"told of {len(without) / max(len(dark), 1):.2f}"
        line(f"{kind} room {level}, flagged {np.mean(flagged):.3f}, {told}", without)
        line(f"{kind} room {level}, lamp-off frame", with_off)


def beside(rng, spectra, gap, **stray):
    """A dim sample beside one 30 times brighter of another colour, their edges ``gap`` radii apart."""
    names = list(spectra)
    first, second = rng.choice(len(names), 2, replace=False)
    radius = rng.uniform(0.06, 0.09) * SIZE[0]
    middle = SIZE[0] * rng.uniform(0.45, 0.55) + np.array([-0.5, 0.5]) * (2 + gap) * radius
    kinds = rng.choice(("vial", "spot", "heap"), 2)
    both = spectra[names[first]], spectra[names[second]] / 30
    samples = tuple(
        SceneSample(name, Shape(str(k), (float(x), SIZE[1] * rng.uniform(0.4, 0.6)), radius), spectrum,
                    texture=float(rng.uniform(0.03, 0.1)), seed=int(rng.integers(2**31)))
        for name, k, x, spectrum in zip(("bright", "dim"), kinds, middle, both, strict=True)
    )  # fmt: skip
    return Scene(SIZE, samples, surroundings_violet=0.0, seed=int(rng.integers(2**31)), **stray)


def neighbour(kind, scenes, folder):
    spectra = emitters() if kind == "dng" else in_gamut()
    path, everything, still = folder / f"shot.{kind}", {0.0: ([], []), 0.006: ([], [])}, {}
    pulled = []
    for crosslight, both in everything.items():
        for veil in VEILS:
            rows, raw = [], []
            for seed in range(scenes):
                rng = np.random.default_rng([seed, 13])
                scene = beside(rng, spectra, rng.uniform(0.5, 2.5), crosslight=crosslight)
                exposure = metered(scene, luther_camera(), Exposure(white_balance_kelvin=D65_KELVIN), 0.6)
                measured = measured_of(shot_of(scene, rng, exposure, veil), path)
                found = figures(measured, scene.truths())
                if "dim" in found:
                    off = untouched(measured, scene.truths(), path)
                    rows.append(found["dim"])
                    raw.append(float(np.hypot(*off)))
                    pull = np.hypot(*(off - still.setdefault(seed, off)))
                    if pull > MATTERS:
                        pulled.append((raw[-1], rows[-1]))
            both[0].extend(rows)
            both[1].extend(raw)
            title = f"{kind} {veil} veil, light thrown {crosslight}"
            line(f"{title}; none removed {np.median(raw):.5f}", rows)
            flags = np.mean(["lit-by-neighbour" in r[3] for r in rows])
            print(f"{'':58} lit-by-neighbour on {flags:.2f}")
        line(f"{kind} all veils, light thrown {crosslight}; none removed {np.median(both[1]):.5f}", both[0])
    raw = np.concatenate([both[1] for both in everything.values()])
    rows = [row for both in everything.values() for row in both[0]]
    line(f"{kind}, all of these; none removed {np.median(raw):.5f}", rows)
    before, after = zip(*pulled, strict=True)
    line(f"{kind}, pulled by over {MATTERS}; none removed {np.median(before):.5f}", after)


def untouched(measured, truths, path):
    """The dim sample's error (u', v') had nothing been taken off."""
    photo, matrices = open_photo(path), (np.linalg.inv(LUTHER),)
    if path.suffix != ".dng":
        matrices = photo.to_xyz
    for sample, truth in pairs(measured, truths):
        if truth.name == "dim":
            rgb = np.add(sample.linear_rgb, sample.stray_rgb)
            uv = exact_camera(matrices[-1]).infer(rgb[None], np.zeros((1, 3, 3))).uv_prime[0]
            return uv - (truth.u_prime, truth.v_prime)
    raise ValueError("the dim sample is not there")


def speed(folder):
    """What masters and the removal cost, a 24 MP raw photograph."""
    rng = np.random.default_rng(0)
    scene = replace(random_scene(rng, 12, size_px=(6000, 4000)), room=0.1)
    exposure = metered(scene, luther_camera(), Exposure(), 0.5)
    for kind in ("dng", "jpg"):
        path, off = folder / f"shot.{kind}", folder / f"off.{kind}"
        opened(shot_of(scene, rng, exposure), path)
        opened(shot_of(scene.lamp_off(), rng, exposure), off)
        for title, frames in (("plain", {}), ("with a lamp-off frame", {"lamp_off": (off,)})):
            times = []
            for _ in range(6):
                start = time.perf_counter()
                recipes.measure(path, Settings(**frames))
                times.append(time.perf_counter() - start)
            print(f"24 MP {kind}, {title}: first {times[0]:.2f} s, then {np.median(times[1:]):.2f} s")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--scenes", type=int, default=40)
    parser.add_argument("--only", nargs="*", default=["room", "neighbour", "speed"])
    parser.add_argument("--kinds", nargs="*", default=["dng", "jpg"])
    parser.add_argument("--any-colour", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        for kind in options.kinds:
            if "room" in options.only:
                room(kind, options.scenes, Path(name), options.any_colour)
            if "neighbour" in options.only:
                neighbour(kind, options.scenes, Path(name))
        if "speed" in options.only:
            speed(Path(name))


if __name__ == "__main__":
    main()
