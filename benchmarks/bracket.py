"""A bracket of five against a single ideal exposure for each sample alone.

    python benchmarks/bracket.py [--scenes 4] [--draws 150] [--kinds dng jpg] [--conditions dark ..] [--each]
    python benchmarks/bracket.py --photographers ../shared/data/cameras [--scenes 10] [--draws 26]

Scenes of samples up to 500 times apart in brightness, by a camera that meets the Luther condition, measured
with its exact matrix (but for the condition ``camera``). The bracket is five exposures two stops apart, the
shortest metered for the brightest sample. The ideal exposure is as long as one sample alone allows, which no
bracket knows beforehand; whatever is brighter may clip. Both are drawn anew (noise) many times from one
noise-free picture. The error of a sample is the root mean square of its distances in u'v' from the truth;
its noise is their scatter, its bias what stays of their mean. 150 draws tell the ratio of two such errors to
6 to 8 %, and that is told.

Besides: the limit, the ratio of noise that no merge of these exposures can better by counting light alone:
the inverse variances of all exposures that show a channel of a sample unclipped (raw), or the whole sample
(JPEG), added up, against that of the ideal exposure, by the electrons of the noise-free picture (photon
noise and read noise, EMVA 1288), carried to u'v' by the camera's own derivative.

With ``--photographers`` each draw is by another of the measured cameras, known by its file's own description
only, with another lens: the error of a sample is then over all who might photograph it, and not by what luck
one camera's own error and the light left of neighbours meet.

Outlines are the true ones, cut back, so that finding has no part in it; how many samples are found without
them is counted apart.
"""

from __future__ import annotations

import argparse
import tempfile
import warnings
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

import camera_prior
from coverage import D65_KELVIN, in_gamut
from exact import exact_camera
from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.light.bracket import view
from glowkin.light.decode import open_photo
from glowkin.light.linear import linear_cells
from glowkin.light.region import outline_mask
from glowkin.scene.cameras import LUTHER, camera_from_arrays, default_camera, luther_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import expose, light_mosaic, metered
from glowkin.scene.shot import Exposure, Shot
from glowkin.scene.spectra import emitters
from glowkin.scene.stage import random_scene

SIZE, PER_SCENE, RATIO = (480, 336), 8, 500.0
COUNT, STEP, TOP = 5, 4.0, 0.85
"""TOP: share of full scale that the brightest thousandth of a sample reaches in its ideal exposure."""
NO_VIOLET = {"violet": (0.0, 0.0), "surroundings_violet": 0.0}
HALO, CROSSLIGHT = (0.005, 0.015), (0.001, 0.007)
"""Of each photographer: the share of light that the lens spreads, and what samples throw on each other."""
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
    return exact_camera(matrices[-1])


def cut_back(truth):
    outline = np.array(truth.outline_px)
    return tuple(map(tuple, np.array(truth.centre_px) + 0.85 * (outline - truth.centre_px)))


def row(sample, truth):
    """Error in u'v' (2), whether the 95 % region holds it, and its major semi-axis."""
    if sample.u_prime is None:
        return np.nan, np.nan, False, np.nan
    error = np.array([sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime])
    C = np.array(sample.u_prime_v_prime_covariance)
    held = error @ np.linalg.solve(C, error) <= CHI2_95_2D
    return *error, held, np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(C)[1])


class Stage:
    """One scene to be photographed again and again, its light worked out once."""

    def __init__(self, seed, kind, condition, folder, photographer=None):
        self.seed, self.kind, self.folder = seed, kind, folder
        self.scene, self.known = scene_of(seed, kind, condition), condition != "camera"
        self.camera = luther_camera() if self.known else default_camera()
        self.rng = np.random.default_rng([seed, 12])
        if photographer:
            number, self.camera = photographer
            self.rng = np.random.default_rng([seed, 12, number])
            lens = {"halo": self.rng.uniform(*HALO), "crosslight": self.rng.uniform(*CROSSLIGHT)}
            self.scene = replace(self.scene, **lens)
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

    def limits(self):
        """The ratio of noise, bracket to ideal, that counting light allows each sample (n,)."""
        return np.array([self._limit(i) for i in range(len(self.truths))])

    def _limit(self, i):
        pixels, ideal = self._pixels(i), self.ideals[i].relative * self.camera.throughput_e
        levels = [e.relative * self.camera.throughput_e for e in self.bracket]
        mean = np.array([p.mean() for p in pixels])
        top = np.array([np.quantile(p, 0.999) for p in pixels])
        J = exact_camera(np.linalg.inv(LUTHER)).jacobian(mean[None] / mean.max())[0]
        count = np.array([p.size for p in pixels])

        def information(level):
            shows = level * top < self.camera.full_well_e
            if self.kind == "jpg":  # developed: any channel clipped bends the others
                shows = TOP * level < ideal
            return shows * count * level**2 / (level * mean + self.camera.read_noise_e**2)

        noise = [
            np.sqrt(np.trace(J / np.maximum(f, 1e-300) @ J.T))
            for f in (sum(information(level) for level in levels), information(ideal))
        ]
        return noise[0] / noise[1]

    def _pixels(self, i):
        """Light of each channel's pixels within the i-th outline."""
        mask = np.zeros(self.light.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(self.outlines[i]).astype(np.int32)], 1)
        cfa = self.camera.cfa_index
        channel = np.tile(cfa, (-(-mask.shape[0] // len(cfa)), -(-mask.shape[1] // len(cfa))))
        channel = channel[: mask.shape[0], : mask.shape[1]]
        return [self.light[(mask == 1) & (channel == c)] for c in range(3)]

    def found(self, photos):
        """Which samples are found without outlines, and how many things."""
        centres = np.array([s.centre_px for s in self.measure(photos).samples]).reshape(-1, 2)
        reach = [0.5 * s.shape.radius_px for s in self.scene.samples]
        near = [np.hypot(*(centres - t.centre_px).T).min(initial=np.inf) for t in self.truths]
        return np.array(near) < reach, len(centres)


@dataclass
class Results:
    """Of n samples: ``bracket`` and ``ideal`` are draws x n x 4, as ``row``."""

    brightness: np.ndarray
    bracket: np.ndarray
    ideal: np.ndarray
    limit: np.ndarray
    found: np.ndarray
    names: list
    flags: set
    things: int


def one_scene(stage, draws):
    """A scene's samples by the bracket and by the ideal exposures."""
    bracket, ideal, flags = [], [], set()
    for _ in range(draws):
        photos = stage.draw_bracket()
        photo = stage.measure(photos, stage.outlines)
        flags |= set(photo.flags)
        bracket.append([row(s, t) for s, t in zip(photo.samples, stage.truths, strict=True)])
        ideal.append(stage.draw_ideals())
    found, things = stage.found(photos)
    brightness = np.array([t.brightness for t in stage.truths])
    names = [f"{stage.seed}{t.name}" for t in stage.truths]
    parts = np.array(bracket, float), np.array(ideal, float), stage.limits(), found
    return Results(brightness, *parts, names, flags, things)


def joined(results):
    """All scenes as one."""
    return Results(
        np.concatenate([r.brightness for r in results]),
        np.concatenate([r.bracket for r in results], axis=1),
        np.concatenate([r.ideal for r in results], axis=1),
        *(np.concatenate([getattr(r, k) for r in results]) for k in ("limit", "found")),
        [name for r in results for name in r.names],
        set().union(*(r.flags for r in results)),
        sum(r.things for r in results),
    )


def by_all(stages):
    """A scene's samples by one draw of each photographer."""
    each = [one_scene(stage, 1) for stage in stages]
    first = replace(each[0], limit=np.full(len(each[0].limit), np.nan))  # none is known of such cameras
    drawn = {k: np.concatenate([getattr(r, k) for r in each]) for k in ("bracket", "ideal")}
    found = np.mean([r.found for r in each], axis=0)
    flags, things = set().union(*(r.flags for r in each)), sum(r.things for r in each) / len(each)
    return replace(first, **drawn, found=found, flags=flags, things=things)


def photographers(folder, number):
    """So many, numbered, with the measured cameras in turn."""
    cameras = [
        camera_from_arrays(" ".join(key), camera_prior.WL, S.T)
        for key, S in camera_prior.measured(folder).items()
    ]
    return [(i, cameras[i % len(cameras)]) for i in range(number)]


def parted(rows):
    """Root mean square error (n,), its relative standard error, noise and bias of draws x n x 4."""
    squares = np.square(rows[..., :2]).sum(axis=2)
    error = np.sqrt(np.nanmean(squares, axis=0))
    unsure = 0.5 * np.nanstd(squares, axis=0) / np.sqrt(len(rows)) / error**2
    noise = np.sqrt(np.nanvar(rows[..., :2], axis=0, ddof=1).sum(axis=1))
    bias = np.linalg.norm(np.nanmean(rows[..., :2], axis=0), axis=1)
    return error, unsure, noise, bias


def table(kind, condition, r, each):
    untold = [np.isnan(x[..., 0]) for x in (r.bracket, r.ideal)]
    one_only = untold[0] ^ untold[1]
    for rows in (r.bracket, r.ideal):
        rows[untold[0] | untold[1], :2] = np.nan  # errors are compared of the draws that both tell
    (b, b_unsure, b_noise, b_bias), (i, i_unsure, i_noise, i_bias) = parted(r.bracket), parted(r.ideal)
    ratio, unsure, noise = b / i, np.hypot(b_unsure, i_unsure), b_noise / i_noise
    print(f"\n{kind}, {condition}: {len(ratio)} samples; flags {sorted(r.flags)}")
    print("brightness       n   bracket / ideal: error        bias             ratio: median 90 % worst"
          "   of noise           limit              covered           found")  # fmt: skip
    for low, high in ((0.0, 0.01), (0.01, 0.1), (0.1, 1.01), (0.0, 1.01)):
        at = (r.brightness >= low) & (r.brightness < high)
        if not at.any():
            continue
        q = [np.nanquantile(y[at], [0.5, 0.9, 1.0]) for y in (ratio, noise, r.limit)]
        q = ["".join(f"{x:6.2f}" for x in y) for y in q]
        e = [np.nanmedian(x[at]) for x in (b, i, b_bias, i_bias)]
        held = [np.nanmean(x[:, at, 2]) for x in (r.bracket, r.ideal)]
        print(f"{low:5.2f} to {high:4.2f} {at.sum():5}   {e[0]:.5f} / {e[1]:.5f}   {e[2]:.5f} / {e[3]:.5f}"
              f"     {'  '.join(q)}    {held[0]:.3f} / {held[1]:.3f}   {r.found[at].mean():.3f}")  # fmt: skip
    print(f"without a colour: {untold[0].sum()} by the bracket, {untold[1].sum()} by the ideal exposures "
          f"({one_only.sum()} by one only) of {one_only.size}")  # fmt: skip
    beyond = ratio > 1.2 * np.exp(2 * unsure)
    shares = [np.mean(x <= 1.2) for x in (ratio, noise, r.limit)]
    together = np.sqrt(np.nanmean(b**2) / np.nanmean(i**2))
    print(f"within 1.2: error {shares[0]:.3f}, noise {shares[1]:.3f}, limit {shares[2]:.3f}; a ratio is "
          f"known to {np.nanmedian(unsure):.3f} (median)\n"
          f"beyond 1.2 by over two standard errors: {beyond.sum()}, "
          f"where the limit is beyond it too: {(beyond & (r.limit > 1.2)).sum()}; noise by the limit "
          f"{np.nanmedian(noise / r.limit):.2f}; all together {together:.2f}; "
          f"found besides: {r.things - int(r.found.sum())}", flush=True)  # fmt: skip
    for k in np.argsort(-ratio) if each else ():
        print(f"  {r.names[k]:4} brightness {r.brightness[k]:.4f}"
              f"   ratio {ratio[k]:5.2f} +- {unsure[k] * ratio[k]:.2f}"
              f"   noise {noise[k]:5.2f}   limit {r.limit[k]:.2f}   error {b[k]:.5f} / {i[k]:.5f}   "
              f"noise {b_noise[k]:.5f} / {i_noise[k]:.5f}"
              f"   bias {b_bias[k]:.5f} / {i_bias[k]:.5f}")  # fmt: skip


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--scenes", type=int, default=4)
    parser.add_argument("--draws", type=int, default=150)
    parser.add_argument("--kinds", nargs="*", default=["dng", "jpg"])
    parser.add_argument("--conditions", nargs="*", default=list(CONDITIONS))
    parser.add_argument("--photographers", metavar="FOLDER")
    parser.add_argument("--each", action="store_true", help="a line for every sample, the worst first")
    options = parser.parse_args()
    warnings.filterwarnings("ignore", message="All-NaN slice")
    with tempfile.TemporaryDirectory() as name:
        for kind in options.kinds if options.photographers else ():
            each, folder = photographers(options.photographers, options.draws), Path(name)
            scenes = [
                by_all(Stage(seed, kind, "camera", folder, p) for p in each) for seed in range(options.scenes)
            ]
            table(kind, f"{len(each)} photographers", joined(scenes), options.each)
        for kind in () if options.photographers else options.kinds:
            for condition in options.conditions:
                stages = [Stage(seed, kind, condition, Path(name)) for seed in range(options.scenes)]
                results = [one_scene(stage, options.draws) for stage in stages]
                table(kind, condition, joined(results), options.each)


if __name__ == "__main__":
    main()
