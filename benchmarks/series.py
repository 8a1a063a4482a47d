"""Half-times from rendered series: error, coverage and width of the intervals, verdicts of the controls.

    python benchmarks/series.py [SERIES] [--jpeg]

Six vials and a control a series, 7 to 14 photographs; first-order, stretched-exponential, Avrami-Erofeev,
contracting-volume and Prout-Tompkins (germ 1 %), by the scene's own curves, which share no code with
the fits; luminance ratios 0.3 to 10.
"""

from __future__ import annotations

import argparse
import tempfile
from datetime import datetime
from pathlib import Path

import numpy as np

from glowkin.findings.track import Plan
from glowkin.recipes import measure, track
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

HOUR = 3600.0
MODELS = ("first-order", "stretched-exponential", "avrami-erofeev", "contracting-volume", "prout-tompkins")
PAIRS = (((640, 85), (520, 52)), ((600, 70), (540, 60)), ((500, 60), (580, 80)))


def one_series(seed, jpeg, folder):
    """Rows of model, truth, found half-time, low, high; and the verdicts of what does not change."""
    rng = np.random.default_rng(seed)
    before, after = PAIRS[seed % len(PAIRS)]
    ratio = float(np.exp(rng.uniform(np.log(0.3), np.log(10))))
    times = np.concatenate([[0.0], np.geomspace(1, 60, int(rng.integers(6, 14)))]) * HOUR
    names = [f"vial-{i}" for i in range(1, 7)] + ["still", "control"]
    samples, changes = [], []
    for i, (name, centre) in enumerate(zip(names, grid_centres((864, 576), 4, 2), strict=True)):
        level = 0.05 * rng.uniform(0.8, 1.2) * max(1.0, 1 / ratio)
        radiance = with_luminance(band(560, 80) if name == "control" else band(*before), level)
        samples.append(
            SceneSample(name, Shape("vial", centre, 42), radiance, violet=0.0005, seed=seed * 100 + i)
        )
        if i < 6:
            model = MODELS[int(rng.integers(len(MODELS)))]
            exponent = {"stretched-exponential": rng.uniform(0.5, 0.9), "avrami-erofeev": rng.uniform(1.5, 3)}
            half = float(np.exp(rng.uniform(np.log(3), np.log(15)))) * HOUR
            course = Course(model, half, exponent.get(model, 1.0))
            changes.append(Change(name, course, with_luminance(band(*after), level * ratio)))
    scene = Scene((864, 576), tuple(samples), surroundings_violet=0.0005, seed=seed)
    exposure = Exposure(taken_at=datetime(2026, 5, 4, 9))
    series = photograph_series(
        scene,
        changes,
        times,
        default_camera(),
        rng,
        exposure,
        brightest=0.3 if jpeg else 0.7,
        lamp_drift=0.04,
    )
    photos = []
    for k, shot in enumerate(series.shots):
        path = Path(folder) / f"{k:02}{'.jpg' if jpeg else '.dng'}"
        (write_jpeg if jpeg else write_dng)(shot, path)
        photos.append(measure(path))
    if len(photos[0].samples) != len(names):
        return [], [], len(photos[0].samples)
    _, course = track(photos, Plan(("control",), (), "2026-05-04T09:00"), names)
    truths = {t.name: t for t in series.truths}
    rows = []
    for found in course.samples[:6]:
        truth = truths[found.name]
        low, high = found.half_time_interval_s or (None, None)
        kept = truth.model in found.not_excluded
        rows.append(
            (
                truth.model,
                truth.half_time_s,
                found.half_time_s,
                low,
                high,
                found.verdict,
                seed,
                found.name,
                kept,
            )
        )
    return rows, [course.sample("still").verdict, course.sample("control").verdict], len(names)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("series", type=int, nargs="?", default=30)
    parser.add_argument("--jpeg", action="store_true")
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    rows, still = [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.series):
            found, verdicts, n = one_series(seed, options.jpeg, folder)
            rows += found
            still += verdicts
            if not found:
                print(f"series {seed}: {n} samples found in the first photograph")
    print(f"what does not change: {still.count('no change seen')} of {len(still)} 'no change seen'", end=", ")
    print(f"{still.count('changing')} 'changing'")
    print(f"what changes: {sum(r[5] == 'changing' for r in rows)} of {len(rows)} 'changing'")
    for model in (*MODELS, None):
        chosen = [r for r in rows if r[2] and model in (None, r[0])]
        if not chosen:
            continue
        error = np.array([abs(np.log(r[2] / r[1])) for r in chosen])
        closed = [r for r in chosen if r[3] and r[4]]
        held = np.mean([r[3] <= r[1] <= r[4] for r in closed])
        width = np.median([(r[4] - r[3]) / r[2] for r in closed])
        kept = np.mean([r[8] for r in chosen])
        print(
            f"{model or 'all':24} n {len(chosen):4} half-time error median {np.median(error):.3f} "
            f"p90 {np.quantile(error, 0.9):.3f}  95 % intervals hold {held:.3f}, median width {width:.3f}  "
            f"true model kept {kept:.3f}"
        )
    misses = [r for r in rows if r[2] and r[3] and r[4] and not r[3] <= r[1] <= r[4]]
    for model, truth, value, low, high, _, seed, name, _ in misses[:12]:
        print(
            f"  missed: {model} series {seed} {name}: {truth / HOUR:.2f} h, found {value / HOUR:.2f} "
            f"({low / HOUR:.2f} to {high / HOUR:.2f})"
        )


if __name__ == "__main__":
    main()
