"""Estimate the generic camera term, check it on makers and emission families it was not made from.

    python benchmarks/generic_camera.py ../shared/data/cameras [--write]

Sensitivities: the camera data set of the Academy Software Foundation (Apache-2.0), one JSON file a camera.
Each camera's matrices are least squares over the 24 patches of ISO 17321-1 under illuminant A and D65,
as its maker would fit them. Rendered files: own matrix, white balance 10 % off (standard deviation, red
and blue; 35 % where it is automatic), a mild tone curve on half of them, cut at the sRGB gamut. Emissions
for the table: bands in wavenumber with a red shoulder and a second band; for the check: Pearson VII and
skewed bands per nm, vibronic progressions, line emitters.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from glowkin.camera.emission import Camera
from glowkin.camera.generic import GenericError
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.observer import cmfs
from glowkin.colour.spaces import RGB_TO_XYZ, srgb_decode, srgb_encode

WL = np.arange(380, 781, 5.0)
TABLE = Path(__file__).parents[1] / "src/glowkin/camera/data/generic_error.json"
REACH, SPACING = 0.01, 0.015
UNSHARED = {"raw": 0.2, "rendered": 0.6, "rendered-auto": 0.6}  # a cut at the gamut hides differences
MARGIN = 1.25  # so that makers left out are covered as well
BALANCE = {"rendered": 0.1, "rendered-auto": 0.35}  # white-balance error, natural logarithm of a gain
CHI2 = 5.991464547107979


def cameras(folder):
    """Sensitivities (81 x 3) by maker and model."""
    found = {}
    for file in sorted(Path(folder).glob("*.json")):
        data = json.loads(file.read_text("utf-8"))
        rows = data["spectral_data"]["data"]["main"]
        S = np.array([rows[str(int(w))] for w in WL])
        found[data["header"]["manufacturer"], data["header"]["model"]] = S / S.max(axis=0)
    return found


def observer():
    wavelength, xyz = cmfs(2)
    return np.stack([np.interp(WL, wavelength, xyz[:, i]) for i in range(3)], axis=1)


def maker_matrices(S, xyz):
    """Camera to XYZ for A and D65, from the 24 patches of ISO 17321-1."""
    import colour

    shape = colour.SpectralShape(380, 780, 5)
    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    reflectance = np.array([sd.copy().align(shape).values for sd in patches])
    matrices = []
    for name in ("A", "D65"):
        light = reflectance * colour.SDS_ILLUMINANTS[name].copy().align(shape).values
        M = np.linalg.lstsq(light @ xyz, light @ S, rcond=None)[0].T
        matrices.append(np.linalg.inv(M))
    return tuple(matrices)


def band(peak, width, skew=1.0):
    """A band in wavenumber (widths in cm-1, wider to the red by ``skew``), power per nm."""
    nu, centre = 1e7 / WL, 1e7 / peak
    sigma = np.where(nu < centre, skew, 1.0) * width / 2.3548
    s = np.exp(-0.5 * ((nu - centre) / sigma) ** 2) * nu**3
    return s / s.max()


def table_emissions(n, rng):
    spectra = []
    for _ in range(n):
        peak, width = rng.uniform(410, 700), np.exp(rng.uniform(np.log(800), np.log(5500)))
        s = band(peak, width, rng.uniform(1, 1.5))
        if rng.random() < 0.6:
            s = s + rng.uniform(0.1, 0.8) * band(1e7 / (1e7 / peak - rng.uniform(700, 3000)), width)
        if rng.random() < 0.35:
            second = band(rng.uniform(410, 700), np.exp(rng.uniform(np.log(800), np.log(4000))))
            s = s + rng.uniform(0.05, 0.6) * second
        spectra.append(s / s.max())
    return np.array(spectra)


def check_emissions(n, rng):
    """Families the table was not made from."""
    spectra = [lines((490, 545, 585, 620), (0.4, 1, 0.2, 0.15)), lines((592, 613, 700), (0.3, 1, 0.4))]
    while len(spectra) < n:
        kind, peak, width = rng.integers(3), rng.uniform(420, 680), rng.uniform(25, 110)
        if kind == 0:
            m = rng.uniform(1.2, 5)
            s = (1 + ((WL - peak) / (width / 2)) ** 2 * (2 ** (1 / m) - 1)) ** -m
        elif kind == 1:
            b = rng.uniform(0.05, 0.5)
            z = 1 + 2 * b * (WL - peak) / width
            s = np.where(z > 0, np.exp(-np.log(2) * (np.log(np.clip(z, 1e-9, None)) / b) ** 2), 0)
        else:
            huang, step = rng.uniform(0.3, 1.6), rng.uniform(900, 1500)
            s = sum(
                huang**k / np.prod(np.arange(1, k + 1)) * band(1e7 / (1e7 / peak - k * step), 700)
                for k in range(5)
            )
        spectra.append(s / s.max())
    return np.array(spectra)


def lines(peaks, heights):
    return sum(h * np.exp(-0.5 * ((WL - p) / 4) ** 2) for p, h in zip(peaks, heights, strict=True))


def errors(S, spectra, xyz, kind, rng):
    """Reported and true chromaticity (n x 2 each) of each emission."""
    true = XYZ_to_uv_prime(spectra @ xyz)
    matrices, rgb = maker_matrices(S, xyz), spectra @ S
    if kind == "raw":
        return XYZ_to_uv_prime(Camera("", "generic", matrices).XYZ(rgb)), true
    return XYZ_to_uv_prime(developed(matrices[1], rgb, BALANCE[kind], rng) @ RGB_TO_XYZ["sRGB"].T), true


def developed(matrix, rgb, balance, rng):
    """Linear sRGB as a file would hold it, one white balance for all."""
    rgb = rgb * np.exp(rng.normal(0, balance, 3) * (1, 0, 1))
    linear = rgb @ (np.linalg.inv(RGB_TO_XYZ["sRGB"]) @ matrix).T
    linear = np.clip(linear / linear.max(axis=1, keepdims=True) * rng.uniform(0.2, 0.85), 0, 1)
    code = srgb_encode(linear)
    if rng.random() < 0.5:
        code = np.clip(code + rng.uniform(0.05, 0.2) * np.sin(2 * np.pi * (code - 0.5)) / np.pi * code, 0, 1)
    return srgb_decode(np.round(code * 255) / 255) + 1e-6


def gather(cams, spectra, xyz, kind, rng, repeats):
    pairs = [errors(S, spectra, xyz, kind, rng) for S in cams for _ in range(repeats)]
    est, true = (np.concatenate(p) for p in zip(*pairs, strict=True))
    return est, true - est


def build(est, err, kind):
    """Mean and moments of the error at nodes where there is data, scaled so that 95 % are covered."""
    u, v = np.meshgrid(np.arange(-0.02, 0.68, SPACING), np.arange(-0.02, 0.65, SPACING))
    kept, means, moments = [], [], []
    for node in np.stack([u.ravel(), v.ravel()], axis=1):
        near = np.flatnonzero(np.abs(est - node).max(axis=1) < 5 * REACH)
        weight = np.exp(-np.square(est[near] - node).sum(axis=1) / (1.5 * REACH) ** 2)
        if weight.sum() > 8:
            mean = weight @ err[near] / weight.sum()
            rest = err[near] - mean
            kept.append(node)
            means.append(mean)
            moments.append(
                (weight[:, None, None] * rest[:, :, None] * rest[:, None, :]).sum(0) / weight.sum()
            )
    moments = np.array(moments) + 1e-6 * np.eye(2)
    table = GenericError(np.array(kept), np.array(means), moments, REACH, UNSHARED[kind])
    few = slice(None, None, max(len(est) // 4000, 1))
    scale = MARGIN * np.quantile(scores(table, est[few], err[few])[0], 0.95) / CHI2
    return replace(table, mean=table.mean * np.sqrt(scale), moments=table.moments * scale), scale


def scores(table, est, err):
    """Squared Mahalanobis distance of each error, and the 95 % major semi-axis of its ellipse."""
    W = np.array([table.weights(p) ** 2 for p in est])
    bias = W @ table.mean
    return distances(bias[:, :, None] * bias[:, None, :] + np.tensordot(W, table.moments, 1), err)


def pair_scores(table, est, err, i, j):
    """The same for differences of two emissions i, j by one camera, what they share cancelled."""
    W = np.array([table.weights(p) for p in est])
    step = W[i] - W[j]
    bias = (W[i] ** 2 - W[j] ** 2) @ table.mean
    C = bias[:, :, None] * bias[:, None, :] + (1 - table.unshared) * np.tensordot(step**2, table.moments, 1)
    C += table.unshared * np.tensordot(W[i] ** 2 + W[j] ** 2, table.moments, 1)
    return distances(C, err[i] - err[j])


def distances(C, err):
    m2 = np.einsum("ni,nij,nj->n", err, np.linalg.inv(C), err)
    return m2, np.sqrt(CHI2 * np.linalg.eigvalsh(C)[:, 1])


def report(title, err, m2, axis):
    size = np.linalg.norm(err, axis=1) if np.ndim(err) == 2 else err
    print(
        f"{title:34} n {len(err):6}  error median {np.median(size):.4f} p90 {np.quantile(size, 0.9):.4f}"
        f"  95 % regions cover {np.mean(m2 < CHI2):.3f}  median semi-axis {np.median(axis):.4f}"
    )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("folder")
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    xyz, cams = observer(), cameras(options.folder)
    document = {
        "source": "benchmarks/generic_camera.py over the camera data set of the Academy Software Foundation "
        "(Apache-2.0), 26 cameras, 2000 emission spectra; u'v' of the node, mean error, then u'u', u'v', "
        "v'v' moments of the rest",
        "reach": REACH,
    }
    for kind, repeats in (("raw", 1), ("rendered", 2), ("rendered-auto", 2)):
        rng = np.random.default_rng(20260504)
        made_from, others = table_emissions(2000, rng), check_emissions(300, rng)
        table, scale = build(*gather(cams.values(), made_from, xyz, kind, rng, repeats), kind)
        print(f"{kind}: {len(table.nodes)} nodes, moments scaled by {scale:.2f}")
        held = held_out(cams, made_from, others, xyz, kind, rng)
        report(f"{kind}, makers and families held out", *held)
        rows = np.column_stack([table.nodes, table.mean, table.moments.reshape(-1, 4)[:, [0, 1, 3]]])
        document[kind] = {
            "unshared": UNSHARED[kind],
            "nodes": [[round(float(x), 7) for x in row] for row in rows],
        }
    luminance_ratios(cams, check_emissions(300, np.random.default_rng(1)), xyz)
    if options.write:
        TABLE.write_text(json.dumps(document).replace("], [", "],\n["), "utf-8")


def luminance_ratios(cams, spectra, xyz):
    """How wrong the luminance ratio of two emissions is, blue ones left out (natural logarithm)."""
    true = spectra @ xyz
    shown = true[:, 1] / true.sum(axis=1) > 0.3
    for kind in ("raw", "rendered"):
        rng, errors_of = np.random.default_rng(2), []
        for S in cams.values():
            matrices, rgb = maker_matrices(S, xyz), spectra @ S
            if kind == "raw":
                Y = Camera("", "generic", matrices).XYZ(rgb)[:, 1]
            else:
                balance = np.exp(rng.normal(0, BALANCE[kind], 3) * (1, 0, 1))
                linear = (rgb * balance) @ (np.linalg.inv(RGB_TO_XYZ["sRGB"]) @ matrices[1]).T
                Y = np.clip(linear, 0, None) @ RGB_TO_XYZ["sRGB"][1]
            error = np.log(np.clip(Y / true[:, 1], 0.01, None))[shown]
            errors_of.append(np.abs(error[:, None] - error[None]).ravel())
        median, p95 = np.quantile(np.concatenate(errors_of), (0.5, 0.95))
        print(f"{kind}: logarithm of a luminance ratio, error median {median:.3f}, 95 % within {p95:.3f}")


def held_out(cams, made_from, others, xyz, kind, rng):
    """Leave one maker out, and ask for emissions of families not used: errors, distances, semi-axes."""
    results, pairs = [], []
    for maker in sorted({m for m, _ in cams}):
        kept = [S for (m, _), S in cams.items() if m != maker]
        out = [S for (m, _), S in cams.items() if m == maker]
        table, _ = build(*gather(kept, made_from, xyz, kind, rng, 1), kind)
        est, err = gather(out, others, xyz, kind, rng, 1)
        results.append((err, *scores(table, est, err)))
        report(f"  without {maker}", *results[-1])
        pairs += list(held_out_pairs(table, est, err, len(others), rng))
    for limit in (0.01, 0.03, 0.1, 1.0):
        chosen = [p for p in pairs if p[0] <= limit]
        pairs = [p for p in pairs if p[0] > limit]
        report(f"  differences up to {limit} apart", *np.array([p[1:] for p in chosen]).T)
    return tuple(np.concatenate(r) for r in zip(*results, strict=True))


def held_out_pairs(table, est, err, n, rng):
    """Rows of distance reported, size of the error of the difference, its squared distance, semi-axis."""
    for first in range(0, len(est), n):
        i, j = rng.integers(0, n, (2, 1500))
        i, j = i[i != j], j[i != j]
        e, x = est[first : first + n], err[first : first + n]
        m2, axis = pair_scores(table, e, x, i, j)
        size = np.linalg.norm(x[i] - x[j], axis=1)
        yield from zip(np.linalg.norm(e[i] - e[j], axis=1), size, m2, axis, strict=True)


if __name__ == "__main__":
    sys.exit(main())
