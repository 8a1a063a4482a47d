"""Colours without a camera file: errors, 95 % regions and differences, on cameras whose maker was left out.

    python benchmarks/generic.py ../shared/data/cameras [--every N] [--only MODE...]

Each camera is met with a prior over cameras made without its maker. Emissions are Pearson VII, log-normal,
exponentially broadened and sech-shaped bands, Lorentzian lines and colour-science's white diodes, phosphors
and display primaries: none of the prior's families.

raw         a maker's two matrices (and one), fitted to other surfaces than the prior's view: 250 smooth
            reflectances, or two other charts of colour-science; plain, weighted for dark patches, or with
            white kept; illuminant A, and D50 or D65
jpeg        white balance 10 % off a channel (red and blue), a maker's matrix as above and balanced for
            4500-7000 K, saturation 0.97-1.2, four files in ten drawn into the colour space, half of them bent
            by a curve (filmic, sigmoid, gamma); spaces sRGB, Display P3, Adobe RGB, ProPhoto
jpeg-plain  the same without saturation, drawing in and other curves than an S on half of the files
automatic   jpeg-plain with white balance 35 % off
pairs       differences in one photograph, by how far the two are truly apart: one emission twice, emissions
            of one family, and of different ones

Printed beside each: what the file's own matrix or colour space gives at face value. First, how far makers'
rows and matrices differ over one camera: the constants of ``maker`` and ``development``.
"""

from __future__ import annotations

import argparse
import warnings
from unittest import mock

import numpy as np

from camera_prior import cameras
from glowkin.base.uncertainty import CHI2_95_2D, difference
from glowkin.camera import development, maker
from glowkin.camera.answers import seen_by
from glowkin.camera.emission import Camera
from glowkin.camera.emission_prior import emission_prior
from glowkin.camera.grid import WAVELENGTH_NM as NM
from glowkin.camera.grid import observer
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.spaces import RGB_TO_XYZ, bradford_adaptation, srgb_decode, srgb_encode
from glowkin.findings.compare import TOLERANCE
from reference import WL, without

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

CMF = observer(2)
SHAPE = colour.SpectralShape(380, 780, 2)
PROPHOTO = np.array([[0.7977, 0.1352, 0.0313], [0.2880, 0.7119, 0.0001], [0.0, 0.0, 0.8249]])
"""ROMM RGB (ISO 22028-2, from memory), D50."""
D50, D65 = np.array([0.9642, 1.0, 0.8249]), np.array([0.9505, 1.0, 1.0891])
SPACES = {**RGB_TO_XYZ, "ProPhoto RGB": bradford_adaptation(D50, D65) @ PROPHOTO}
NOISE = 0.001


def daylight(kelvin):
    xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
    power = colour.sd_CIE_illuminant_D_series(xy).align(SHAPE).values
    return power / power.mean()


LIGHTS = {k: daylight(k) for k in (4500, 5003, 5500, 6000, 6504, 7000)}
LIGHT_A = colour.SDS_ILLUMINANTS["A"].copy().align(SHAPE).values


def smooth_surfaces():
    """Reflectances with an edge or a hump anywhere, as painted and natural surfaces have."""
    rng = np.random.default_rng(3)
    side = rng.choice([-1, 1], (150, 1))
    edges = 1 / (1 + np.exp(-(NM - rng.uniform(400, 720, (150, 1))) / rng.uniform(8, 45, (150, 1)) * side))
    humps = np.exp(-0.5 * ((NM - rng.uniform(420, 680, (100, 1))) / rng.uniform(20, 70, (100, 1))) ** 2)
    depth, floor = rng.uniform(0.05, 0.8, (250, 1)), rng.uniform(0.03, 0.25, (250, 1))
    return np.clip(np.concatenate([edges, humps]) * depth + floor, 0, 1)


def chart(name):
    return np.array([sd.copy().align(SHAPE).values for sd in colour.SDS_COLOURCHECKERS[name].values()])


SURFACES = [smooth_surfaces(), chart("BabelColor Average"), chart("ColorChecker N Ohta")]


def shape_of(kind, peak, width, rng):
    """One band in power per nm."""
    if kind == "pearson":
        m = rng.uniform(1.3, 6)
        return (1 + ((NM - peak) / (width / 2)) ** 2 * (2 ** (1 / m) - 1)) ** -m
    if kind == "log-normal":
        skew = rng.uniform(0.05, 0.5)
        z = 1 + 2 * skew * (NM - peak) / width
        return np.where(z > 0, np.exp(-np.log(2) * (np.log(np.maximum(z, 1e-9)) / skew) ** 2), 0.0)
    if kind == "broadened":
        gauss = np.exp(-0.5 * ((NM - peak) / (width / 3.4)) ** 2)
        decay = np.exp(-np.arange(0, 300, 2.0) / (width / 2.4 * rng.uniform(0.3, 2)))
        return np.convolve(gauss, decay)[: NM.size] / decay.sum()
    if kind == "narrow":
        return 1 / np.cosh((NM - peak) / (rng.uniform(12, 30) / 1.763)) ** 2
    count = rng.integers(2, 6)
    at, high = rng.uniform(470, 700, count), np.exp(0.6 * rng.standard_normal(count))
    return (high / (1 + ((NM[:, None] - at) / rng.uniform(2, 6, count)) ** 2) ** 1.5).sum(axis=1)


KINDS = ("pearson", "log-normal", "broadened", "narrow", "lines")


def emissions(rng, n):
    """Spectra (m x 201) and their classes."""
    classes = [KINDS[i % 5] for i in range(n) if i % 10 != 8]
    S = [shape_of(k, rng.uniform(425, 680), rng.uniform(28, 110), rng) for k in classes]
    white = [sd for name, sd in colour.SDS_LIGHT_SOURCES.items() if "LED" in name or "PHOS" in name]
    white += [sd for name, sd in colour.SDS_ILLUMINANTS.items() if name.startswith("LED")]
    S += [np.clip(np.interp(NM, sd.wavelengths, sd.values, 0, 0), 0, None) for sd in white]
    for ms in colour.MSDS_DISPLAY_PRIMARIES.values():
        S += [np.clip(np.interp(NM, ms.wavelengths, column, 0, 0), 0, None) for column in ms.values.T]
    classes += ["white or display"] * (len(S) - len(classes))
    return np.array([s / s.max() for s in S]), np.array(classes)


def makers_matrix(S, light, rng, balanced=True):
    """Channels (balanced for this light) to XYZ (adapted to D65), as one of several makers fits it."""
    lit = SURFACES[rng.integers(3)] * light
    white_rgb, white = S @ light, light @ CMF
    X, Y = lit @ S.T, lit @ CMF
    if balanced:
        X, Y = X / white_rgb, Y / white[1] @ bradford_adaptation(white / white[1], D65).T
        white_rgb, white = np.ones(3), D65
    way = rng.integers(3)
    weight = 1 / np.maximum(Y[:, 1] / white[1], 0.05) if way == 1 else np.full(len(Y), 1.0)
    if way == 2:
        X, Y, weight = np.vstack([X, white_rgb]), np.vstack([Y, white]), np.append(weight, 50.0)
    return np.linalg.lstsq(X * weight[:, None], Y * weight[:, None], rcond=None)[0].T


def bent(x, how, rng):
    """Codes of linear values, through a curve."""
    code = srgb_encode(x)
    if how == "s":
        bend = rng.uniform(0.1, 0.4)
        return (1 - bend) * code + bend * code**2 * (3 - 2 * code)
    if how == "filmic":
        s = rng.uniform(1.5, 3.0)
        f = lambda v: (v * (0.22 * v + 0.03) + 0.002) / (v * (0.22 * v + 0.3) + 0.06) - 1 / 30  # noqa: E731
        return srgb_encode(np.clip(f(s * x) / f(s), 0, 1))
    if how == "sigmoid":
        g = rng.uniform(1.1, 1.5)
        return code**g / (code**g + (1 - code) ** g)
    return code ** rng.uniform(0.8, 1.2) if how == "gamma" else code


def jpeg(S, E, rng, space, balance, plain, together=False):
    """Linear channels read back from files: one for each spectrum, or one file that holds them all."""
    out = np.empty((len(E), 3))
    for mine in [slice(None)] if together else [slice(i, i + 1) for i in range(len(E))]:
        light = LIGHTS[int(rng.choice(list(LIGHTS)))]
        off = np.exp(balance * rng.standard_normal(3) * (1, 0, 1))
        M = makers_matrix(S, light, rng)
        linear = (E[mine] @ S.T / (S @ light) * off) @ (np.linalg.inv(SPACES[space]) @ M).T
        grey = np.maximum(linear @ SPACES[space][1], 1e-12)[:, None]
        if not plain:
            linear = grey + rng.uniform(0.97, 1.2) * (linear - grey)
            if rng.random() < 0.4:
                low = linear.min(axis=1, keepdims=True)
                inside = np.where(low < 0, grey / np.maximum(grey - low, 1e-9), 1.0)
                linear = grey + (1 - rng.uniform(0.5, 1) * (1 - inside)) * (linear - grey)
        linear = np.clip(linear, 0, None)
        top = linear.max() if together else linear.max(axis=1, keepdims=True)
        curves = ("none", "s") if plain else ("none", "none", "none", "filmic", "sigmoid", "gamma")
        code = bent(linear / np.maximum(top, 1e-12) * rng.uniform(0.15, 0.85), rng.choice(curves), rng)
        out[mine] = srgb_decode(np.round(np.clip(code, 0, 1) * 255) / 255)
    return out


def raw_camera(S, prior, rng, two=True):
    """A camera by its maker's matrices, and the daylight one of them (channels to XYZ)."""
    lights = ((LIGHT_A,) if two else ()) + (LIGHTS[int(rng.choice([5003, 6504]))],)
    matrices = [makers_matrix(S, light / (light @ CMF)[1], rng, balanced=False) for light in lights]
    known = maker.seen_through(matrices, prior)
    return Camera("raw", "generic", known, _tables={2: seen_by(emission_prior(), known, 2)}), matrices[-1]


def jpeg_camera(prior, space, balance):
    with mock.patch.object(development, "camera_prior", return_value=prior):
        made = development.developed(emission_prior(), SPACES[space], balance, 2)
    return Camera("jpeg", "generic", space=SPACES[space], balance=balance, _tables={2: made})


def noisy(rgb, rng):
    sd = NOISE * rgb.max(axis=1)
    return np.clip(rgb + sd[:, None] * rng.standard_normal(rgb.shape), 0, None), sd[
        :, None, None
    ] ** 2 * np.eye(3)


def met(mode, S, E, prior, rng, space="sRGB", together=False):
    """Camera, channels, covariance and the matrix of face value."""
    if mode.startswith("raw"):
        camera, face = raw_camera(S, prior, rng, two=mode == "raw")
        rgb = E @ S.T
    else:
        balance = development.BALANCE["automatic" if mode == "automatic" else "set"]
        camera, face = jpeg_camera(prior, space, balance), SPACES[space]
        rgb = jpeg(S, E, rng, space, balance, mode != "jpeg", together)
    return camera, *noisy(rgb, rng), face


def each(cams, every):
    """Cameras (3 x 201, gains of a sensor) with the prior that does not know their maker."""
    for name, S5 in list(cams.items())[::every]:
        S = np.stack([np.interp(NM, WL, row) for row in S5])
        yield name[0], S / S.sum(axis=1, keepdims=True) * [[0.6], [1.0], [0.8]], without(cams, name)


def absolute(mode, cams, every, space="sRGB"):
    rng, rows = np.random.default_rng(8), []
    E, classes = emissions(np.random.default_rng(4), 200)
    true = XYZ_to_uv_prime(E @ CMF)
    for _, S, prior in each(cams, every):
        camera, rgb, C, face = met(mode, S, E, prior, rng, space)
        found = camera.infer(rgb, C)
        covariance = np.array([found.uncertain(i).covariance for i in range(len(E))])
        e = true - found.uv_prime
        at_face = XYZ_to_uv_prime(np.maximum(rgb, 1e-6) @ face.T) - true
        d2 = np.einsum("ni,nij,nj->n", e, np.linalg.inv(covariance), e)
        axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(covariance)[:, 1])
        rows.append([np.hypot(*e.T), d2 < CHI2_95_2D, axis, np.hypot(*at_face.T)])
    R = np.array(rows)
    figures(f"{mode}, {space}" if mode[:3] != "raw" else mode, R)
    for k in np.unique(classes):
        figures(f"    {k}", R[:, :, classes == k])


def figures(title, R):
    error, inside, axis, face = R.transpose(1, 0, 2).reshape(4, -1)
    print(
        f"{title:26} n {error.size:5}  error {np.median(error):.4f} / {np.quantile(error, 0.9):.4f}  covered "
        f"{inside.mean():.3f}  semi-axis {np.median(axis):.4f}  face value {np.median(face):.4f} / "
        f"{np.quantile(face, 0.9):.4f}", flush=True,
    )  # fmt: skip


def pairs(rng, n):
    """Pairs of emissions: alike (one band and the same, or somewhat moved), and of different kinds."""
    alike = []
    for _ in range(n):
        kind, peak, width, seed = (
            KINDS[rng.integers(3)],
            rng.uniform(440, 660),
            rng.uniform(30, 110),
            rng.integers(99),
        )
        moved = peak + rng.choice([0, 0, 2, 5, 10, 20])
        wider = width * (1 + 0.05 * rng.standard_normal() * (moved > peak))
        one, other = (
            shape_of(kind, p, w, np.random.default_rng(seed)) for p, w in ((peak, width), (moved, wider))
        )
        alike.append((one, other))
    E, _ = emissions(rng, 600)
    uv = XYZ_to_uv_prime(E @ CMF)
    near = np.argwhere(np.triu(np.hypot(*(uv[:, None] - uv).transpose(2, 0, 1)) < 0.06, 1))
    unlike = [(E[i], E[j]) for i, j in near[rng.choice(len(near), n, replace=False)]]
    return np.array(alike + unlike), np.repeat([True, False], n)


def differences(mode, cams, every, n=100):
    P, alike = pairs(np.random.default_rng(2), n)
    E, rng, rows = np.concatenate([P[:, 0], P[:, 1]]), np.random.default_rng(5), []
    true = XYZ_to_uv_prime(E @ CMF)
    for _, S, prior in each(cams, every):
        camera, rgb, C, _ = met(mode, S, E, prior, rng, together=True)
        found = camera.infer(rgb, C)
        for i in range(len(P)):
            d = difference(found.uncertain(i + len(P)), found.uncertain(i))
            e = true[i + len(P)] - true[i] - d.value
            inverse = np.linalg.inv(d.covariance)
            axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(d.covariance)[1])
            seen = d.value @ inverse @ d.value > CHI2_95_2D and np.hypot(*d.value) > TOLERANCE
            rows.append(
                (alike[i], np.hypot(*(true[i + len(P)] - true[i])), np.hypot(*e), e @ inverse @ e, axis, seen)
            )
    R = np.array(rows, dtype=float)
    for which, word in ((1, "alike"), (0, "unlike")):
        for low, high in ((0, 1e-9), (1e-9, 0.01), (0.01, 0.03), (0.03, 0.06)):
            r = R[(R[:, 0] == which) & (R[:, 1] >= low) & (R[:, 1] < high)]
            if len(r) > 20:
                print(
                    f"{mode} {word:6} {low:.2f}-{high:.2f} n {len(r):5}  error {np.median(r[:, 2]):.4f} / "
                    f"{np.quantile(r[:, 2], 0.9):.4f}  covered {np.mean(r[:, 3] < CHI2_95_2D):.3f}  "
                    f"semi-axis {np.median(r[:, 4]):.4f}  told apart {r[:, 5].mean():.2f}", flush=True,
                )  # fmt: skip


def constants(cams):
    """How makers differ over one camera, and how far daylight and lamplight lie apart in balance."""
    rng, rows, changes, gains = np.random.default_rng(0), [], [], []
    to_rgb = np.linalg.inv(RGB_TO_XYZ["sRGB"])
    for S5 in cams.values():
        S = np.stack([np.interp(NM, WL, row) for row in S5])
        usual = to_rgb @ maker.maker_matrix(S)
        usual = usual / (usual @ np.diag(1 / np.linalg.solve(usual, np.ones(3)))).sum() * 3
        usual = usual * np.linalg.solve(usual, np.ones(3))
        shown = maker._directions(S @ maker._views()["D65"].T)
        for _ in range(12):
            light = LIGHTS[int(rng.choice([5003, 6504]))]
            M = makers_matrix(S, light / (light @ CMF)[1], rng, balanced=False)
            rows.append(maker._directions(np.linalg.inv(M)) - shown)
            changes.append(to_rgb @ makers_matrix(S, light, rng) - usual)
        ratio = np.log((S @ LIGHT_A) / (S @ LIGHTS[6504]))
        gains.append(np.abs(ratio - ratio[1])[[0, 2]])
    print("rows of one channel differ by", np.sqrt(np.square(rows).mean(axis=(0, 2))).round(3).tolist())
    print("matrices to sRGB differ by", float(np.std(changes, axis=0).mean().round(3)))
    print(
        "red and blue gains, illuminant A to D65, ln:", np.mean(gains, axis=0).round(2).tolist(), flush=True
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=["raw", "jpeg", "jpeg-plain", "automatic", "pairs"])
    options = parser.parse_args()
    cams = cameras(options.folder)
    constants(cams)
    for mode in options.only:
        if mode == "pairs":
            differences("raw", cams, options.every)
            differences("jpeg", cams, options.every)
        elif mode == "raw":
            absolute("raw", cams, options.every)
            absolute("raw, one matrix", cams, options.every)
        else:
            for space in SPACES if mode == "jpeg" else ["sRGB"]:
                absolute(mode, cams, options.every, space)


if __name__ == "__main__":
    main()
