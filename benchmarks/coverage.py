"""Whether the 95 % regions of measured colours hold the true ones, and how large they are.

    python benchmarks/coverage.py [--samples 2000] [--kinds dng 4:2:0] [--cameras ../shared/data/cameras]

First the part that is each sample's own (noise, compression, stray light): photographs by a camera that
meets the Luther condition, measured with its exact matrix, so that nothing else can be wrong; raw, and
JPEG of colours within sRGB. Then, with ``--cameras``, the total: raw photographs by measured cameras, told
by their files' own matrices and a prior without the maker of each, of emissions it was not made from.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from exact import exact_camera
from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera.emission import Camera
from glowkin.camera.maker import seen_through
from glowkin.colour.observer import cmfs
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.light.decode import open_photo
from glowkin.scene.cameras import LUTHER, camera_from_arrays, luther_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import WAVELENGTH_NM, band, emitters, mixture, planck
from glowkin.scene.stage import random_scene

SIZE = (800, 560)
PER_SCENE = 8
CONDITIONS = {
    "noise alone": {"violet": (0.0, 0.0), "surroundings_violet": 0.0, "halo": (0.0, 0.0), "crosslight": 0.0},
    "lens and neighbours": {"violet": (0.0, 0.0), "surroundings_violet": 0.0},
    "powder up to 6 times cloth's violet": {"surroundings_violet": 0.008},
    "everything drawn anew for each scene": None,
}
D65_KELVIN = 6504.0


def anything(rng):
    """Stray light of any kind, from none to as much as makes trouble."""
    cloth = rng.uniform(0, 0.008)
    return {
        "violet": (0.0, 6 * cloth),
        "surroundings_violet": cloth,
        "halo": (0.0, 0.015),
        "crosslight": rng.uniform(0, 0.012),
    }


def scene_of(rng, spectra, condition):
    options = dict(condition) if condition is not None else anything(rng)
    crosslight = options.pop("crosslight", None)
    scene = random_scene(rng, PER_SCENE, size_px=SIZE, spectra=spectra, **options)
    return scene if crosslight is None else replace(scene, crosslight=crosslight)


def in_gamut():
    """Emissions that sRGB holds with room to spare: bands over a pale glow."""
    XYZ_to_rgb = np.linalg.inv(RGB_TO_XYZ["sRGB"])
    shelf = {}
    for peak in range(430, 681, 10):
        for share in np.arange(0.95, 0.0, -0.05):
            spectrum = mixture([band(peak, 80.0), planck(6000.0)], [share, 1 - share])
            rgb = XYZ_to_rgb @ (spectrum @ cmfs(2)[1])
            if rgb.min() > 0.08 * rgb.max():
                shelf[f"{peak}"] = spectrum
                break
    return shelf


def pairs(measured, truths):
    """Each measured sample with the truth whose outline it lies in."""
    for sample in measured.samples:
        distance = [np.hypot(*np.subtract(t.centre_px, sample.centre_px)) for t in truths]
        truth = truths[int(np.argmin(distance))]
        if min(distance) < 0.5 * np.ptp(np.array(truth.outline_px), axis=0).min() and sample.u_prime:
            yield sample, truth


def rows_of(measured, truths):
    """Squared Mahalanobis distance, error, and the 95 % major semi-axis, one row a sample."""
    for sample, truth in pairs(measured, truths):
        error = np.array([sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime])
        C = np.array(sample.u_prime_v_prime_covariance)
        axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(C)[1])
        yield error @ np.linalg.solve(C, error), np.linalg.norm(error), axis


def report(title, rows):
    m2, error, axis = np.array(rows).T
    print(
        f"{title:42} n {len(m2):5}  95 % regions cover {np.mean(m2 <= CHI2_95_2D):.3f}  "
        f"median semi-axis {np.median(axis):.5f}  error median {np.median(error):.5f} "
        f"p90 {np.quantile(error, 0.9):.5f}",
        flush=True,
    )


def own_part(kind, condition, samples, folder):
    """Rows of the exact camera's photographs."""
    camera, rows, seed = luther_camera(), [], 0
    spectra = emitters() if kind == "dng" else in_gamut()
    while len(rows) < samples:
        rng = np.random.default_rng([seed, 7])
        seed += 1
        shot = photograph(
            scene_of(rng, spectra, condition), camera, rng, Exposure(white_balance_kelvin=D65_KELVIN),
            brightest=0.5,
        )  # fmt: skip
        if kind == "dng":
            photo = open_photo(write_dng(shot, folder / "shot.dng"))
            matrices = (np.linalg.inv(LUTHER),)
        else:
            development = Development(subsampling=kind)
            photo = open_photo(write_jpeg(shot, folder / "shot.jpg", development))
            matrices = photo.to_xyz
        measured = recipes.measure_photo(photo, Settings(), exact_camera(matrices[-1]))
        rows += rows_of(measured, shot.truths)
    return rows[:samples]


def total(cameras_folder, samples, folder):
    """Rows of measured cameras, each described by its file's matrices and the prior of the other makers."""
    from camera_prior import WL, cameras
    from generic import NM, emissions
    from reference import without

    cams, rng = cameras(cameras_folder), np.random.default_rng(20260504)
    on_scale = [np.interp(WAVELENGTH_NM, NM, s, right=0.0) for s in emissions(rng, 200)[0]]
    spectra = {str(i): s / s.sum() for i, s in enumerate(on_scale)}
    share = -(-samples // len(cams))
    rows = []
    for maker in sorted({m for m, _ in cams}):
        of_maker = []
        for (m, model), S in cams.items():
            if m == maker:
                camera, prior = camera_from_arrays(model, WL, S.T), without(cams, (m, model))
                of_maker += camera_rows(camera, prior, spectra, share, folder, rng)
        report(f"  without {maker}", of_maker)
        rows += of_maker
    return rows


def camera_rows(camera, prior, spectra, share, folder, rng):
    rows = []
    while len(rows) < share:
        shot = photograph(scene_of(rng, spectra, {}), camera, rng, brightest=0.5)
        photo = open_photo(write_dng(shot, folder / "shot.dng"))
        known = Camera(camera.name, "generic", seen_through(photo.to_xyz, prior))
        rows += rows_of(recipes.measure_photo(photo, Settings(), known), shot.truths)
    return rows[:share]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--samples", type=int, default=2000)
    parser.add_argument("--kinds", nargs="*", default=["dng", "4:4:4", "4:2:0"])
    parser.add_argument("--cameras")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for kind in options.kinds:
            title = "raw" if kind == "dng" else f"JPEG {kind}"
            for condition, how in CONDITIONS.items():
                report(f"{title}, {condition}", own_part(kind, how, options.samples, folder))
        if options.cameras:
            report("raw, all, makers held out", total(options.cameras, options.samples, folder))


if __name__ == "__main__":
    main()
