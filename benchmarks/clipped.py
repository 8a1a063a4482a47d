"""How far colours of clipped samples err, and whether 95 % regions hold the true ones, by what is clipped.

    python benchmarks/clipped.py [--mode known chart jpeg] [--stops LEAST MOST] [--every N] [--data FOLDER]

Cameras, emitters and what is known of a camera are those of ``accuracy.py``: none was in a prior. Every
emission is exposed until its highest channel would pass the ceiling by a number of stops, 0 to 3 (uniform;
of a JPEG, the highest channel that the file would hold). A raw channel ends at the ceiling; a JPEG's ends
there after white balance, before the matrix, and again in the file, where it is taken for clipped from code
250 on. Samples that clip in one channel or two count.

Beside it, ``face``: what the same inference makes of the channels as they stand, clipped ones for values.
"""

from __future__ import annotations

import argparse
from unittest import mock

import numpy as np

import accuracy
from accuracy import CMF, D65, NM, NOISE, PATCHES
from accuracy import colour as colour_science
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera import development
from glowkin.camera.calibrate import ChartSeen, calibrate
from glowkin.camera.daylight import chart_light
from glowkin.camera.emission import Camera
from glowkin.camera.sensitivities import Sensitivities
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.spaces import RGB_TO_XYZ, srgb_decode
from glowkin.light.rendered import LOSSY_CLIP

MODES = ("known", "chart", "jpeg")
NAMES = ("red", "green", "blue")
SRGB = RGB_TO_XYZ["sRGB"]


def raw(S, E, over, rng):
    """Channels of full scale 1, not yet cut, with noise."""
    rgb = E @ S.T
    rgb = rgb / rgb.max(axis=1, keepdims=True) * 2.0 ** over[:, None]
    return rgb + NOISE * rng.standard_normal(rgb.shape)


def jpeg(S, E, over, rng):
    """Linear sRGB of a rendered file whose sensor clips; written apart from ``development``."""
    light = accuracy.daylight(rng.uniform(5000, 6500))
    to_xyz = np.linalg.lstsq(PATCHES * D65 @ S.T, PATCHES * D65 @ CMF, rcond=None)[0]
    white = D65 @ S.T
    balanced = E @ S.T / (light @ S.T) / np.exp(rng.normal(0, 0.1, 3))
    saturation = rng.uniform(1.0, 1.15)
    to_space = white[:, None] * to_xyz @ np.linalg.inv(SRGB).T
    to_space = to_space / (np.ones(3) @ to_space)
    pale = np.outer([0.2126, 0.7152, 0.0722], np.ones(3))
    to_space = to_space @ (saturation * np.eye(3) + (1 - saturation) * pale)
    level = 2.0**over / (balanced @ to_space).max(axis=1)
    linear = np.minimum(balanced * level[:, None], 1.0) @ to_space
    code = colour_science.models.eotf_inverse_sRGB(np.clip(linear, 0, 1))
    if rng.random() < 0.5:
        bend = rng.uniform(0.1, 0.6)
        code = (1 - bend) * code + bend * code**2 * (3 - 2 * code)
    return colour_science.models.eotf_sRGB(np.round(code * 255) / 255)


def camera_of(mode, S, prior, rng):
    """The camera as far as it is known."""
    if mode == "jpeg":
        return Camera("x", "generic", space=SRGB, balance=development.BALANCE["set"])
    if mode == "known":
        return Camera("x", "sensitivities", Sensitivities(S, np.zeros((3, NM.size, 0))))
    seen = ChartSeen(accuracy.chart_photograph(S, rng), PATCHES, accuracy.PLACES)
    return Camera("x", "chart", calibrate(seen, chart_light("daylight"), None, *prior).sensitivities)


def covariance(mode, rgb):
    """Of the channel means (n x 3 x 3)."""
    variance = np.full(rgb.shape, NOISE**2)
    if mode == "jpeg":
        slope = 0.0041 * np.maximum(rgb, 0.003) ** 0.58 * 2.4 / 1.055
        variance = slope**2 / 12
    return variance[:, :, None] * np.eye(3)


def met(mode, S, E, prior, stops, rng):
    """One camera: what is clipped (n), errors, squared distances, semi-axes, errors at face value."""
    over = rng.uniform(*stops, len(E))
    camera = camera_of(mode, S, prior, rng)
    seen = jpeg(S, E, over, rng) if mode == "jpeg" else raw(S, E, over, rng)
    clipped = seen >= (srgb_decode(LOSSY_CLIP) if mode == "jpeg" else 1.0)
    seen = np.minimum(seen, 1.0)
    C = covariance(mode, seen)
    found = camera.infer_clipped(seen, C, clipped)
    face = camera.infer(seen, C).uv_prime
    true = XYZ_to_uv_prime(E @ CMF)
    e = true - found.uv_prime
    total = np.array([found.uncertain(i).covariance for i in range(len(E))])
    d2 = np.einsum("ni,nij,nj->n", e, np.linalg.inv(np.nan_to_num(total) + 1e-12 * np.eye(2)), e)
    axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(np.nan_to_num(total))[:, 1])
    pattern = clipped @ (1, 2, 4)
    told = np.isfinite(e).all(axis=1)
    return np.column_stack([pattern, told, np.hypot(*e.T), d2 < CHI2_95_2D, axis, np.hypot(*(face - true).T)])


def report(mode, rows):
    """Print the figures by what is clipped."""
    print(f"{mode}: error median / 90th percentile, covered, median semi-axis; at face value")
    for pattern in (*range(1, 7), 0):
        of = rows[(rows[:, 0] == pattern) if pattern else np.isin(rows[:, 0], range(1, 7))]
        name = " and ".join(n for i, n in enumerate(NAMES) if pattern >> i & 1) or "all"
        told = of[of[:, 1] == 1]
        if not len(told):
            print(f"  {name:15} {len(of):5d} none told")
            continue
        e, covered, axis, face = told[:, 2:].T
        print(
            f"  {name:15} {len(of):5d} told {len(told) / len(of):.2f}  {np.median(e):.4f} / "
            f"{np.quantile(e, 0.9):.4f}  {covered.mean():.3f}  {np.median(axis):.3f}   face "
            f"{np.median(face):.4f} / {np.quantile(face, 0.9):.4f}"
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mode", nargs="*", default=MODES, choices=MODES)
    parser.add_argument("--stops", nargs=2, type=float, default=(0.0, 3.0))
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--data", default="../shared/data")
    options = parser.parse_args()
    cams, gained, E, _ = accuracy.met_with("usual", options.data)
    for mode in options.mode:
        rows = []
        for number, key in enumerate(list(cams)[:: options.every]):
            rng = np.random.default_rng((accuracy.SEED, number))
            prior = accuracy.prior_without(cams, gained, key, "maker", mode)
            S5 = cams[key]
            S = accuracy.on_grid(S5) / S5.sum(axis=1)[:, None]
            drawn = np.insert(gained[key], 1, 0.0) if key in gained else rng.normal(0, 0.3, 3)
            S = S * np.exp(drawn)[:, None]
            with mock.patch.object(development, "camera_prior", return_value=prior[0]):
                rows.append(met(mode, S, E, prior, options.stops, rng))
        report(mode, np.concatenate(rows))


if __name__ == "__main__":
    main()
