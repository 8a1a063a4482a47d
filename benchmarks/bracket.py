"""A bracket of five against a single ideal exposure for each sample alone.

    python benchmarks/bracket.py [--scenes 12] [--draws 20] [--kinds dng jpg] [--conditions dark lens ..]

Scenes of samples up to 500 times apart in brightness, by a camera that meets the Luther condition, measured
with its exact matrix (but for the condition ``camera``). The bracket is five exposures two stops apart, the
shortest metered for the brightest sample. The ideal exposure is as long as one sample alone allows, which no
bracket knows beforehand; whatever is brighter may clip. Both are drawn anew (noise) several times, and the
error of a sample is the root mean square of its distances in u'v' from the truth. With 20 draws chance alone
spreads the ratio of two such errors by 16 % (one standard deviation). Outlines are the true ones, cut back,
so that finding has no part in it; how many samples are found without them is counted apart.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from coverage import D65_KELVIN, in_gamut
from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera.emission import Camera
from glowkin.light.bracket import view
from glowkin.light.decode import open_photo
from glowkin.light.linear import linear_cells
from glowkin.light.region import outline_mask
from glowkin.scene.cameras import LUTHER, default_camera, luther_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import expose, light_mosaic, metered
from glowkin.scene.shot import Exposure, Shot
from glowkin.scene.spectra import emitters
from glowkin.scene.stage import random_scene

SIZE, PER_SCENE, RATIO = (800, 560), 8, 500.0
COUNT, STEP, TOP = 5, 4.0, 0.85
"""TOP: share of full scale that the brightest thousandth of a sample reaches in its ideal exposure."""
NO_VIOLET = {"violet": (0.0, 0.0), "surroundings_violet": 0.0}
CONDITIONS = {
    "dark": ({**NO_VIOLET, "halo": (0.0, 0.0)}, 0.0),
    "lens": (NO_VIOLET, 0.004),
    "all": ({"violet": (0.0, 0.0005), "surroundings_violet": 0.0002}, 0.004),
    "camera": (NO_VIOLET, 0.004),
}
"""Stray light: none; halo of the lens and light between neighbours; and the lamp's violet, in the
proportion to the dimmest sample that a scene of 1:10 has with 0.025. ``camera``: as ``lens``, by a camera
that does not meet the Luther condition and is known by its own file's description only, as users have it.
"""


def scene_of(seed, kind, condition):
    options, crosslight = CONDITIONS[condition]
    rng = np.random.default_rng([seed, 11])
    spectra = emitters() if kind == "dng" else in_gamut()
    return replace(
        random_scene(rng, PER_SCENE, RATIO, size_px=SIZE, spectra=spectra, **options), crosslight=crosslight
    )


def exact(photo):
    """The Luther camera's own matrix, which is right for every spectrum."""
    matrices = (np.linalg.inv(LUTHER),) if photo.kind == "raw" else photo.to_xyz
    return Camera("exact", "sensitivities", matrices)


def cut_back(truth):
    outline = np.array(truth.outline_px)
    return tuple(map(tuple, np.array(truth.centre_px) + 0.85 * (outline - truth.centre_px)))


def row(sample, truth):
    """Error in u'v', whether the 95 % region holds it, and its major semi-axis."""
    if sample.u_prime is None:
        return np.nan, False, np.nan
    error = np.array([sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime])
    C = np.array(sample.u_prime_v_prime_covariance)
    held = error @ np.linalg.solve(C, error) <= CHI2_95_2D
    return np.linalg.norm(error), held, np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(C)[1])


class Stage:
    """One scene to be photographed again and again, its light worked out once."""

    def __init__(self, seed, kind, condition, folder):
        self.scene, self.camera, self.kind = scene_of(seed, kind, condition), luther_camera(), kind
        self.known = condition != "camera"
        if not self.known:
            self.camera = default_camera()
        self.rng, self.folder = np.random.default_rng([seed, 12]), folder
        self.truths, self.light = self.scene.truths(), light_mosaic(self.scene, self.camera)
        self.outlines = tuple(cut_back(t) for t in self.truths)
        self.ideals = [self.ideal_exposure(i) for i in range(len(self.truths))]
        shortest = min(self.ideals, key=lambda e: e.exposure_s)
        self.bracket = [replace(shortest, exposure_s=shortest.exposure_s * STEP**k) for k in range(COUNT)]

    def photograph(self, exposure, name="photo"):
        """One photograph with noise of its own."""
        electrons = self.light * np.float32(self.camera.throughput_e * exposure.relative)
        shot = Shot(expose(electrons, self.camera, self.rng, exposure.iso), self.camera, exposure)
        path = self.folder / f"{name}.{self.kind}"
        return open_photo((write_dng if self.kind == "dng" else write_jpeg)(shot, path))

    def ideal_exposure(self, i):
        """As long as the i-th sample alone allows."""
        only = replace(self.scene, samples=(self.scene.samples[i],))
        trial = metered(only, self.camera, Exposure(white_balance_kelvin=D65_KELVIN), 0.2)
        photo = self.photograph(trial)
        mask, window = outline_mask(photo, np.array(self.outlines[i]))
        top = np.quantile(linear_cells(photo, window)[mask == 1].max(axis=1), 0.999)
        return replace(trial, exposure_s=float(f"{trial.exposure_s * TOP / top:.3g}"))

    def measure(self, photos, outlines=None):
        """The record of these exposures."""
        camera = exact(photos[0]) if self.known else None
        return recipes.measure_view(view(photos), Settings(outlines=outlines), camera)

    def draw_bracket(self):
        """The five exposures, the shortest first."""
        return [self.photograph(e, str(k)) for k, e in enumerate(self.bracket)]

    def draw_ideals(self):
        """One row a sample, each from its own ideal photograph."""
        each = zip(self.ideals, self.outlines, self.truths, strict=True)
        return [row(self.measure([self.photograph(e)], (o,)).samples[0], t) for e, o, t in each]

    def found(self, photos):
        """Which samples are found without outlines, and how many things."""
        centres = np.array([s.centre_px for s in self.measure(photos).samples]).reshape(-1, 2)
        reach = [0.5 * s.shape.radius_px for s in self.scene.samples]
        near = [np.hypot(*(centres - t.centre_px).T).min(initial=np.inf) for t in self.truths]
        return np.array(near) < reach, len(centres)


def one_scene(stage, draws):
    """Rows (draws x samples x 3) of the bracket and of the ideal exposures, what is found, and flags."""
    bracket, ideal, flags = [], [], set()
    for _ in range(draws):
        photos = stage.draw_bracket()
        photo = stage.measure(photos, stage.outlines)
        flags |= set(photo.flags)
        bracket.append([row(s, t) for s, t in zip(photo.samples, stage.truths, strict=True)])
        ideal.append(stage.draw_ideals())
    found, things = stage.found(photos)
    return stage.truths, np.array(bracket), np.array(ideal), found, flags, things


def table(kind, condition, results):
    brightness = np.concatenate([[t.brightness for t in r[0]] for r in results])
    b, i = (np.concatenate([np.moveaxis(r[k], 1, 0) for r in results]).astype(float) for k in (1, 2))
    found = np.concatenate([r[3] for r in results])
    rms = [np.sqrt(np.mean(x[..., 0] ** 2, axis=1)) for x in (b, i)]
    ratio = rms[0] / rms[1]
    print(
        f"\n{kind}, {condition}: {len(ratio)} samples; flags {sorted(set().union(*(r[4] for r in results)))}"
    )
    print("brightness       n   error bracket / ideal   ratio median   90 %   worst   covered bracket / ideal"
          "   semi-axis bracket / ideal   found")  # fmt: skip
    for low, high in ((0.0, 0.01), (0.01, 0.1), (0.1, 1.01), (0.0, 1.01)):
        at = (brightness >= low) & (brightness < high)
        if not at.any():
            continue
        q = np.nanquantile(ratio[at], [0.5, 0.9, 1.0])
        axes = [np.nanmedian(x[at][..., 2]) for x in (b, i)]
        held = [np.nanmean(x[at][..., 1]) for x in (b, i)]
        errors = [np.nanmedian(x[at]) for x in rms]
        lost = int(np.isnan(ratio[at]).sum())
        print(f"{low:5.2f} to {high:4.2f} {at.sum():5}   {errors[0]:.5f} / {errors[1]:.5f}"
              f"        {q[0]:8.2f} {q[1]:9.2f} {q[2]:7.2f}   {held[0]:10.3f} / {held[1]:.3f}"
              f"       {axes[0]:8.5f} / {axes[1]:.5f}        {found[at].mean():.3f}"
              + (f"   without colour {lost}" if lost else ""))  # fmt: skip
    extra = sum(r[5] for r in results) - int(found.sum())
    together = np.sqrt(np.nanmean(rms[0] ** 2) / np.nanmean(rms[1] ** 2))
    print(
        f"within 1.2 times: {np.mean(ratio <= 1.2):.3f}; all together: {together:.2f}; found besides: {extra}"
    )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--scenes", type=int, default=12)
    parser.add_argument("--draws", type=int, default=20)
    parser.add_argument("--kinds", nargs="*", default=["dng", "jpg"])
    parser.add_argument("--conditions", nargs="*", default=list(CONDITIONS))
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        for kind in options.kinds:
            for condition in options.conditions:
                stages = [Stage(seed, kind, condition, Path(name)) for seed in range(options.scenes)]
                table(kind, condition, [one_scene(stage, options.draws) for stage in stages])


if __name__ == "__main__":
    main()
