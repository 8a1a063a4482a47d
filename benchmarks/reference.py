"""What a reference glow in the frame gains: errors and 95 % regions with and without it.

    python benchmarks/reference.py ../shared/data/cameras [--every N] [--mode MODE]

Each camera is seen without its maker in the prior. Reference and samples are log-normal and exponentially
broadened bands in nm, shapes the prior does not hold. The reference's peak and width are drawn about the
usual figures; a third one is a white diode with a measured spectrum. Matrices: those of a raw file, rows 2 %
off. Chart: daylight of 5000-7500 K, patches 2 % off, flare to 2 %. Rendered: sRGB of 8 bits, balance off
by 10 % (set) or 35 % (automatic) a channel, half with a tone curve. Prints median, 90th percentile, coverage
and median semi-axis without and with the reference, near its colour (0.06 in u'v') and elsewhere, and how
often it was taken for off (then it moves nothing), and the camera for unlike the prior.
"""

from __future__ import annotations

import argparse
import warnings

import numpy as np

from camera_prior import BEYOND, WL, cameras, components
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera import maker
from glowkin.camera.calibrate import ChartSeen, calibrate
from glowkin.camera.daylight import chart_light
from glowkin.camera.emission import Camera
from glowkin.camera.glows import known_glow, of_known
from glowkin.camera.grid import WAVELENGTH_NM, observer
from glowkin.camera.reference import Seen, checked, recentred
from glowkin.camera.sensitivities import Sensitivities, structured
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.emission_shape import measured
from glowkin.colour.spaces import RGB_TO_XYZ, srgb_decode, srgb_encode

NEAR = 0.06
USUAL = {
    "quinine-sulfate": (450.0, 5.0, 88.0, 8.0),
    "fluorescein": (519.0, 4.0, 42.0, 4.0),
    "measured": (560.0, 5.0, 120.0, 8.0),
}
"""Peak and full width in nm, each with its spread."""


def log_normal(peak, width, skew=0.25):
    x = 1 + 2 * skew * (WAVELENGTH_NM - peak) / width
    return np.where(x > 0, np.exp(-np.log(2) * (np.log(np.maximum(x, 1e-9)) / skew) ** 2), 0.0)


def broadened(peak, width, tail):
    gauss = np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - peak) / width) ** 2)
    decay = np.exp(-np.arange(0, 200, 2.0) / tail)
    return np.convolve(gauss, decay)[: WAVELENGTH_NM.size] / decay.sum()


def samples(rng, n=120):
    """Bands, pairs of bands, and narrow bands."""
    out = []
    for k in range(n):
        one = log_normal(rng.uniform(430, 650), rng.uniform(25, 110), rng.uniform(0.1, 0.4))
        if k % 3 == 0:
            one = broadened(rng.uniform(430, 640), rng.uniform(20, 60), rng.uniform(5, 40))
        if k % 4 == 0:
            one = one + rng.uniform(0.1, 0.6) * log_normal(rng.uniform(430, 650), rng.uniform(40, 110))
        out.append(one / one.max())
    return np.array(out)


def shapes(rng, kind):
    """A reference: the usual figures, drawn."""
    peak, peak_sd, width, width_sd = USUAL[kind]
    band = log_normal(peak + peak_sd * rng.standard_normal(), width + width_sd * rng.standard_normal(), 0.25)
    return band + 0.7 * log_normal(455.0, 25.0) if kind == "measured" else band


def known(kind, spectrum, rng):
    """What is known of a reference: the template, or a spectrometer's reading, 1 nm and 5 % in 100 nm off."""
    if kind != "measured":
        return known_glow(kind)
    shift, tilt = rng.standard_normal(2) * (1.0, 0.05)
    read = np.interp(WAVELENGTH_NM - shift, WAVELENGTH_NM, spectrum) * (
        1 + tilt * (WAVELENGTH_NM - 530) / 100
    )
    return of_known("measured", measured(WAVELENGTH_NM, read / read.max()))


def without(cams, name):
    """The prior over cameras without this one's maker."""
    mean, parts, _ = components({k: v for k, v in cams.items() if k[0] != name[0]})
    at = lambda rows: np.stack([np.interp(WAVELENGTH_NM, WL, row) for row in rows])  # noqa: E731
    scale = at(mean).sum(axis=1)[:, None]
    mean, parts = at(mean) / scale, np.stack([at(p) / scale for p in parts], axis=-1)
    rest = structured(mean, BEYOND["common"], BEYOND["own"], BEYOND["floor"], BEYOND["length_nm"])
    return Sensitivities(mean, np.concatenate([parts, rest], axis=-1))


def by_matrices(S, prior, rng):
    """The camera as its maker's matrices describe it, rows 2 % off."""
    rows = [S @ maker._views()[light].T for light in ("A", "D65")]
    error = 0.02 / 3**0.5 * rng.standard_normal((2, 3, 3))
    rows = [r + np.linalg.norm(r, axis=1, keepdims=True) * e for r, e in zip(rows, error, strict=True)]
    return Camera("camera", "generic", maker.seen_through([np.linalg.inv(r) for r in rows], prior))


def by_chart(S, prior, rng):
    """The camera as a photograph of a chart in daylight of unknown colour temperature tells."""
    light = chart_light("daylight")
    lit = light.spectrum(1e6 / rng.uniform(5000, 7500))
    R = patches()
    place = np.array([((k % 6 - 2.5) / 5, (k // 6 - 1.5) / 3) for k in range(len(R))])
    rgb = ((R + rng.uniform(0, 0.02)) * lit) @ S.T * (1 + 0.02 * rng.standard_normal((len(R), 3)))
    return Camera("camera", "chart", calibrate(ChartSeen(rgb, R, place), light, None, prior).sensitivities)


def patches():
    """Reflectances of 24 patches (ISO 17321-1, as colour-science has them)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    shape = colour.SpectralShape(380, 780, 2)
    chart = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    return np.array([sd.copy().align(shape).values for sd in chart])


WAYS = {"matrices": by_matrices, "chart": by_chart}
MODES = (*WAYS, "set", "automatic")


def rendered_by(S, spectra, balance, rng):
    """A file of this camera: its own matrix, an error of balance, a gamma-like curve on half of the files."""
    error = np.exp([balance * rng.standard_normal(), 0.0, balance * rng.standard_normal()])
    to_rgb = np.linalg.inv(RGB_TO_XYZ["sRGB"]) @ maker.maker_matrix(S)
    linear = spectra @ (S * error[:, None]).T @ to_rgb.T
    linear /= linear.max(axis=1, keepdims=True) / rng.uniform(0.3, 0.8, (len(linear), 1))
    code = srgb_encode(np.clip(linear, 0, 1))
    if rng.random() < 0.5:
        code = code + 0.08 * np.sin(2 * np.pi * (code - 0.5)) / np.pi * code
    return srgb_decode(np.round(np.clip(code, 0, 1) * 255) / 255)


def tell(label, rows):
    error, d2, semi = (np.concatenate([r[i] for r in rows]) for i in range(3))
    print(
        f"  {label:34s} {np.median(error):.4f} / {np.quantile(error, 0.9):.4f}, coverage "
        f"{(d2 < CHI2_95_2D).mean():.3f}, semi-axis {np.median(semi):.4f}  ({error.size})",
        flush=True,
    )


def figures(camera, rgb, true):
    none = np.zeros((len(rgb), 3, 3))
    found = camera.infer(rgb, none)
    C = np.array([found.uncertain(i).covariance for i in range(len(rgb))])
    away = found.uv_prime - true
    d2 = np.einsum("ni,nij,nj->n", away, np.linalg.inv(C), away)
    return np.hypot(*away.T), d2, np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(C)[:, 1])


def run(cams, kind, mode, every):
    rng = np.random.default_rng(5)
    rows = {(near, way): [] for near in (True, False) for way in ("without", "with")}
    off = []
    for name, S5 in list(cams.items())[::every]:
        S = np.stack([np.interp(WAVELENGTH_NM, WL, row) for row in S5])
        S /= S.sum(axis=1, keepdims=True)
        spectra, glow = samples(rng), shapes(rng, kind)
        true = XYZ_to_uv_prime(spectra @ observer(2))
        if mode in WAYS:
            camera = WAYS[mode](S, without(cams, name), rng)
            rgb, seen = spectra @ S.T, glow @ S.T
        else:
            balance = {"set": 0.1, "automatic": 0.35}[mode]
            camera = Camera("camera", "generic", space=RGB_TO_XYZ["sRGB"], balance=balance)
            both = rendered_by(S, np.vstack([spectra, glow]), balance, rng)
            rgb, seen = both[:-1], both[-1]
        seen = seen * (1 + 0.005 * rng.standard_normal(3))
        one = Seen("reference", known(kind, glow, rng), seen, np.diag(np.square(0.003 * seen) + 1e-12))
        check = checked(camera, [one], 2)[0]
        off.append((check.off, check.stretched > 1))
        better = recentred(camera, [] if check.off else [one], 2, "a photograph", check.stretched)
        near = np.hypot(*(true - XYZ_to_uv_prime(glow @ observer(2))).T) < NEAR
        for way, by in (("without", camera), ("with", better)):
            parts = figures(by, rgb, true)
            for where in (True, False):
                rows[where, way].append([p[near == where] for p in parts])
    print(f"{mode}, {kind}: off, camera unlike prior in {np.mean(off, axis=0).round(3)} of {len(off)}")
    for where in (True, False):
        for way in ("without", "with"):
            tell(f"{'near' if where else 'elsewhere'}, {way} reference", rows[where, way])


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--mode", choices=MODES)
    options = parser.parse_args()
    cams = cameras(options.folder)
    for mode in [options.mode] if options.mode else MODES:
        for kind in USUAL:
            run(cams, kind, mode, options.every)


if __name__ == "__main__":
    main()
