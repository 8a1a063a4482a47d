"""Compute the prior over cameras from measured sensitivities, and write it into the package.

    python benchmarks/camera_prior.py ../shared/data/cameras [--write]

Sensitivities: the camera data set of the Academy Software Foundation (Apache-2.0), one JSON file a camera;
only their mean, components and variances enter the package. Makers of many cameras count less a camera.
Prints the share of the variance that the components carry, and what is left of each camera when the prior
is made without its maker.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from pathlib import Path

import numpy as np

TABLE = Path(__file__).parents[1] / "src/glowkin/camera/data/camera_prior.json"
WL = np.arange(380, 781, 5)
COMPONENTS = 12
GAIN_COMPONENTS = 5
BEYOND = {"common": 0.10, "own": 0.04, "floor": 0.004, "length_nm": 30.0}
"""Smooth deviations beyond the components: what is left of cameras whose maker was left out."""


def measured(folder):
    """Sensitivities by maker and model, 3 x 81, as measured."""
    found = {}
    for file in sorted(Path(folder).glob("*.json")):
        data = json.loads(file.read_text("utf-8"))
        rows = data["spectral_data"]["data"]["main"]
        S = np.clip(np.array([rows[str(w)] for w in WL]).T, 0, None)
        found[data["header"]["manufacturer"], data["header"]["model"]] = S
    return found


def cameras(folder):
    """Sensitivities by maker and model, 3 x 81, each channel of unit sum."""
    return {key: S / S.sum(axis=1, keepdims=True) for key, S in measured(folder).items()}


def gains(folder):
    """Log of red's and blue's sum over green's, by maker and model; not of channels each scaled to 1."""
    raw = {key: S for key, S in measured(folder).items() if np.ptp(S.max(axis=1)) > 1e-6}
    return {key: np.log(S.sum(axis=1) / S[1].sum())[[0, 2]] for key, S in raw.items()}


def components(cams):
    """Mean (3 x 81), components scaled by their standard deviation (k x 3 x 81), share of variance each."""
    makers = Counter(maker for maker, _ in cams)
    weight = np.array([makers[maker] ** -0.5 for maker, _ in cams])
    weight /= weight.sum()
    X = np.array([S.ravel() for S in cams.values()])
    mean = weight @ X
    freedom = 1 - np.square(weight).sum()
    _, s, V = np.linalg.svd(np.sqrt(weight / freedom)[:, None] * (X - mean), full_matrices=False)
    scaled = (s[:COMPONENTS, None] * V[:COMPONENTS]).reshape(-1, 3, WL.size)
    return mean.reshape(3, -1), scaled, (s**2 / np.square(s).sum())[:COMPONENTS]


def gains_by_component(cams, parts, mean, gained):
    """Mean of the log gains (2), their change with each component (2 x k), and what is left of them (sd)."""
    known = [key for key in cams if key in gained]
    makers = Counter(maker for maker, _ in known)
    weight = np.array([makers[maker] ** -0.5 for maker, _ in known])
    weight /= weight.sum()
    G = np.array([gained[key] for key in known])
    centre = weight @ G
    V = parts[:GAIN_COMPONENTS].reshape(GAIN_COMPONENTS, -1)
    X = np.array([cams[key].ravel() for key in known]) - mean.ravel()
    z = X @ V.T / np.square(V).sum(axis=1)
    A = (z * weight[:, None]).T @ z + 0.3 * np.eye(GAIN_COMPONENTS)
    slope = np.linalg.solve(A, (z * weight[:, None]).T @ (G - centre)).T
    rest = G - centre - z @ slope.T
    return centre, slope, float(np.sqrt(weight @ np.square(rest).mean(axis=1)))


def table_of(cams, gained=None):
    """The prior as the package keeps it."""
    mean, parts, _ = components(cams)
    told = {}
    if gained:
        centre, slope, _ = gains_by_component(cams, parts, mean, gained)
        told = {"gains": np.round(centre, 4).tolist(), "gain_slopes": np.round(slope, 4).tolist()}
    return {
        "source": "benchmarks/camera_prior.py; mean, components and variances of the sensitivities of "
        f"{len(cams)} cameras, camera data set of the Academy Software Foundation, Apache-2.0",
        "wavelength_nm": WL.tolist(),
        "mean": np.round(mean, 6).tolist(),
        "components": np.round(parts, 6).tolist(),
        **told,
        **BEYOND,
    }


def left_over(cams):
    """Of each camera, what the components of the other makers leave, as a share of its sum."""
    for (maker, model), S in cams.items():
        mean, parts, _ = components({k: v for k, v in cams.items() if k[0] != maker})
        V = parts.reshape(len(parts), -1)
        z = np.linalg.lstsq(V.T, (S - mean).ravel(), rcond=None)[0]
        rest = (S - mean).ravel() - V.T @ z
        print(f"{maker} {model}: {np.abs(rest).sum() / 3:.3f} left, largest component {np.abs(z).max():.1f}")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    cams = cameras(options.folder)
    print("variance carried:", np.cumsum(components(cams)[2]).round(4).tolist())
    left_over(cams)
    mean, parts, _ = components(cams)
    centre, _, rest = gains_by_component(cams, parts, mean, gains(options.folder))
    print("log gains of red and blue:", centre.round(3).tolist(), "left", round(rest, 3))
    if options.write:
        TABLE.write_text(json.dumps(table_of(cams, gains(options.folder))) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
