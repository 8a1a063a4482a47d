"""Series that are no mixture of two forms: are they refused, and true mixtures not?

    python benchmarks/no_two_forms.py [SERIES] [--jpeg] [--curves] [--measured] [--first N] [--keep FOLDER]

Six vials a series beside a control, 6 to 14 photographs, lamp drift 4 %, the camera put back by hand: two of
a band moving by 25-60 nm (as growing quantum dots do), two that turn into a third form by way of another,
two true mixtures. Wrong are ``two_forms_suffice`` true (claimed) for the first four and false (refused) for
the last two; 'not told' is an answer where a tone curve could have bent the path.
``--measured`` takes the moving bands from quantum dots measured while they grew (the cleanest runs of
``../shared/data/drifting_emission``, A. Li, 2026, MIT), 20 to 56 nm.
``--curves`` and ``--keep`` are those of ``series.py``.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from datetime import datetime
from pathlib import Path

import numpy as np

from emitters import CLEAN_RUNS, growing
from glowkin.base.records import measure_document, photos_from_json
from glowkin.findings.track import Plan
from glowkin.recipes import measure, track
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import WAVELENGTH_NM, band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance
from series import development_drawn

HOUR = 3600.0
KINDS = ("moving", "three", "two")
NAMES = (*(f"{kind}-{i}" for kind in KINDS for i in (1, 2)), "control")
BANDS = ((470, 60), (520, 60), (560, 80), (600, 70), (640, 85))


def strange(kind, rng, level, runs):
    """Radiance at each fraction left; a moving band as one of the measured ``runs``, if there are any."""
    ratio = float(np.exp(rng.uniform(np.log(0.3), np.log(3))))
    if kind == "moving" and runs:
        run = runs[rng.integers(len(runs))][rng.integers(4) :]

        def grown(f):
            at = (1 - f) * (len(run) - 1)
            k = min(int(at), len(run) - 2)
            return with_luminance((k + 1 - at) * run[k] + (at - k) * run[k + 1], level * ratio ** (1 - f))

        return grown
    if kind == "moving":
        start, way, width = rng.uniform(500, 590), rng.uniform(25, 60), rng.uniform(35, 70)

        def moving(f):
            return with_luminance(band(start + way * (1 - f), width), level * ratio ** (1 - f))

        return moving
    picked = rng.choice(len(BANDS), 3, replace=False)
    forms = [with_luminance(band(*BANDS[i]), level * r) for i, r in zip(picked, (1, ratio, 1), strict=True)]
    if kind == "two":
        return lambda f: f * forms[0] + (1 - f) * forms[1]
    pace = rng.uniform(0.5, 2.0)

    def consecutive(f):
        """A to B to C, both of first order, B's rate ``pace`` times A's (equal rates kept apart)."""
        t = -np.log(max(f, 1e-6))
        k = pace if abs(pace - 1) > 0.02 else 1.02
        b = (np.exp(-t) - np.exp(-k * t)) / (k - 1)
        return f * forms[0] + b * forms[1] + (1 - f - b) * forms[2]

    return consecutive


def measured_runs():
    """Measured spectra of growing quantum dots, unit area, t x 471 each."""
    runs = growing(nm=WAVELENGTH_NM)
    return [runs[n] / runs[n].sum(axis=1, keepdims=True) for n in CLEAN_RUNS]


def rendered_series(seed, options, folder):
    """The measured photographs of one series."""
    runs = measured_runs() if options.measured else []
    jpeg, development = options.jpeg, development_drawn(seed) if options.curves else Development()
    rng = np.random.default_rng((41, seed))
    times = np.concatenate([[0.0], np.geomspace(1, 60, int(rng.integers(5, 14)))]) * HOUR
    samples, changes = [], []
    for i, (name, centre) in enumerate(zip(NAMES, grid_centres((864, 576), 4, 2), strict=False)):
        level = 0.05 * rng.uniform(0.8, 1.2)
        way = None if name == "control" else strange(name.split("-")[0], rng, level, runs)
        first = with_luminance(band(560, 80), level) if way is None else way(1.0)
        samples.append(
            SceneSample(name, Shape("vial", centre, 42), first, violet=0.0005, seed=seed * 100 + i)
        )
        if way is not None:
            half = float(np.exp(rng.uniform(np.log(3), np.log(12)))) * HOUR
            changes.append(Change(name, Course("first-order", half), way(0.0), on_the_way=way))
    scene = Scene((864, 576), tuple(samples), surroundings_violet=0.0005, seed=seed)
    exposure = Exposure(taken_at=datetime(2026, 5, 4, 9))
    series = photograph_series(
        scene, changes, times, default_camera(), rng, exposure,
        brightest=0.3 if jpeg else 0.7, lamp_drift=0.04,
    )  # fmt: skip
    photos = []
    for k, shot in enumerate(series.shots):
        path = Path(folder) / f"{k:02}{'.jpg' if jpeg else '.dng'}"
        if jpeg:
            write_jpeg(shot, path, development)
        else:
            write_dng(shot, path)
        photos.append(measure(path).without_outlines())
    return photos


def one_series(seed, options, folder):
    """(kind, two_forms_suffice, verdict, name) of each vial."""
    words = ["curves"] * options.curves + ["measured"] * options.measured
    kind = "-".join(["strange", "jpeg" if options.jpeg else "raw", *words])
    path = options.keep and Path(options.keep) / f"{kind}-{seed:04}.json"
    if path and path.exists():
        photos = photos_from_json(json.loads(path.read_text()))
    else:
        photos = rendered_series(seed, options, folder)
    if path and not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(measure_document(photos, (), "")))
    if len(photos[0].samples) != len(NAMES):
        return []
    _, course = track(photos, Plan(("control",), (), "2026-05-04T09:00"), NAMES)
    return [(c.name.split("-")[0], c.two_forms_suffice, c.verdict, c.name) for c in course.samples[:6]]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("series", type=int, nargs="?", default=20)
    parser.add_argument("--jpeg", action="store_true")
    parser.add_argument("--curves", action="store_true")
    parser.add_argument("--measured", action="store_true")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--keep")
    options = parser.parse_args()
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.series):
            found = one_series(seed, options, folder)
            rows += [(*row, seed) for row in found]
            if not found:
                print(f"series {seed}: not all vials found")
    for kind in KINDS:
        mine = [r for r in rows if r[0] == kind]
        told = Counter({True: "claimed", False: "refused", None: "not told"}[r[1]] for r in mine)
        print(f"{kind:8} of {len(mine)}: {dict(told)}; verdicts {dict(Counter(r[2] for r in mine))}")
        wrong = [f"{r[3]} of series {r[4]}" for r in mine if r[1] is (kind != "two")]
        print("  wrong:", ", ".join(wrong[:12]) or "none")


if __name__ == "__main__":
    main()
