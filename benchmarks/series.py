"""Half-times from rendered series: error, coverage and width of the intervals, verdicts, spoiled photographs.

    python benchmarks/series.py [SERIES] [--first N] [--jpeg] [--curves] [--spoil N] [--dark] [--outlined]
                                [--keep FOLDER]

Six vials, a still one and a control a series, 6 to 14 photographs (the first, then evenly in the logarithm
of time), ISO 100 to 1600, lamp drift 4 %, the camera put back by hand. Every rate model of the scene's own
curves, which share no code with the fits; a fifth after an induction, a fifth stopping part-way; three pairs
of forms, luminance ratios 0.03 to 30. ``--spoil`` spoils so many photographs of each series (10 photographs
then), in the ways of ``scene/spoil.py``. ``--curves`` develops each series its own way: white balance off by
10 %, on two of three a tone curve, an S of strength up to 0.5, on half of those after a power of 8 % about 1
(none of them a curve that the fits try). ``--dark`` lets the end form give 0.01 of the light or less, down to
a millionth: vials go out. ``--outlined`` measures by the outlines found in the first photograph, moved as the
camera was. ``--keep`` keeps measured photographs in a folder, so that fits can
be looked at again without rendering. Overexposed are samples of which more than 1 % is clipped in the first
or last photograph: no half-time is given of those.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from glowkin.base.records import measure_document, photos_from_json
from glowkin.base.settings import Settings
from glowkin.findings.track import Plan
from glowkin.recipes import measure, track
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.series import PROGRESS, Change, Course, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.spoil import SPOILS
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

HOUR = 3600.0
MODELS = tuple(name for name in PROGRESS if name != "none")
PAIRS = (((640, 85), (520, 52)), ((600, 70), (540, 60)), ((500, 60), (580, 80)))
RATIOS, DARK = (0.03, 30.0), (1e-6, 0.01)
EXPONENTS = {"stretched-exponential": (0.5, 0.9), "avrami-erofeev": (1.5, 3.0)}
VIALS = tuple(f"vial-{i}" for i in range(1, 7))
NAMES = (*VIALS, "still", "control")


@dataclass(frozen=True)
class Truth:
    """What is known of a series: a course for each vial, luminance ratio, spoiled photographs."""

    courses: list[dict]
    ratio: float
    photos: int
    iso: float
    spoiled: dict[str, str]
    tone: float = 0.0
    lift: float = 1.0
    all_found: bool = True


@dataclass(frozen=True)
class Row:
    """One vial: what is true, what was found."""

    series: int
    name: str
    course: Course
    truth: Truth
    found: object
    overexposed: bool

    @property
    def half(self):
        """Seconds, or None."""
        return self.found.half_time_s

    @property
    def closed(self):
        """Whether the half-time has an interval closed on both sides."""
        interval = self.found.half_time_interval_s
        return self.half is not None and interval is not None and None not in interval

    @property
    def held(self):
        """Whether that holds the truth."""
        low, high = self.found.half_time_interval_s
        return low <= self.course.half_time_s <= high

    @property
    def width(self):
        """Of the interval, as a share of the half-time."""
        low, high = self.found.half_time_interval_s
        return (high - low) / self.half

    @property
    def error(self):
        """Of the half-time, in its natural logarithm."""
        return abs(np.log(self.half / self.course.half_time_s))

    @property
    def kept(self):
        """Whether the true model is among those not excluded."""
        return self.course.model in self.found.not_excluded

    @property
    def excluded(self):
        """How many of the six wrong models are excluded."""
        return len(set(MODELS) - set(self.found.not_excluded) - {self.course.model})


def course_drawn(rng):
    """A rate model, a half-time of 3 to 15 h, sometimes after an induction, sometimes stopping part-way."""
    model = MODELS[int(rng.integers(len(MODELS)))]
    exponent = float(rng.uniform(*EXPONENTS[model])) if model in EXPONENTS else 1.0
    half = float(np.exp(rng.uniform(np.log(3), np.log(15)))) * HOUR
    kind = rng.random()
    stops = float(rng.uniform(0.1, 0.6)) if kind < 0.2 else 0.0
    induction = float(rng.uniform(0.2, 0.6)) * half if kind > 0.8 else 0.0
    return Course(model, half, exponent, stops, induction)


def development_drawn(seed):
    """How the camera of this series develops."""
    rng = np.random.default_rng((8, seed))
    kind, tone, lift, red, blue = int(rng.integers(3)), rng.uniform(0, 0.5), *rng.standard_normal(3)
    return Development(
        white_balance_error=(float(np.exp(0.1 * red)), float(np.exp(0.1 * blue))),
        tone=float(tone) if kind else 0.0,
        lift=float(np.exp(0.08 * lift)) if kind == 2 else 1.0,
    )


def rendered_series(seed, options, folder):
    """The measured photographs of one series, and the truth."""
    jpeg, spoils = options.jpeg, options.spoil
    rng = np.random.default_rng((7, seed))
    before, after = PAIRS[seed % len(PAIRS)]
    lowest, highest = DARK if options.dark else RATIOS
    ratio = float(np.exp(rng.uniform(np.log(lowest), np.log(highest))))
    photos = 10 if spoils else int(rng.integers(6, 15))
    iso = float(rng.choice((100, 400, 1600)))
    times = np.concatenate([[0.0], np.geomspace(1, 60, photos - 1)]) * HOUR
    start = 0.05 * max(1.0, 1 / max(ratio, RATIOS[0]))
    samples, changes = [], []
    for i, (name, centre) in enumerate(zip(NAMES, grid_centres((864, 576), 4, 2), strict=True)):
        level = start * rng.uniform(0.8, 1.2) * (np.sqrt(max(ratio, RATIOS[0])) if name == "control" else 1.0)
        radiance = with_luminance(band(560, 80) if name == "control" else band(*before), level)
        shape = Shape("vial", centre, 42)
        samples.append(SceneSample(name, shape, radiance, violet=0.01 * start, seed=seed * 100 + i))
        if name in VIALS:
            changes.append(Change(name, course_drawn(rng), with_luminance(band(*after), level * ratio)))
    scene = Scene((864, 576), tuple(samples), surroundings_violet=0.01 * start, seed=seed)
    wrong = {int(k): SPOILS[int(rng.integers(4))] for k in rng.choice(photos, spoils, replace=False)}
    series = photograph_series(
        scene, changes, times, default_camera(), rng, Exposure(taken_at=datetime(2026, 5, 4, 9), iso=iso),
        brightest=0.3 if jpeg else 0.7, lamp_drift=0.04, spoiled=wrong,
    )  # fmt: skip
    outlines: tuple = ()
    shown, development = [], development_drawn(seed) if options.curves else Development()
    for k, shot in enumerate(series.shots):
        path = Path(folder) / f"{k:02}{'.jpg' if jpeg else '.dng'}"
        if jpeg:
            write_jpeg(shot, path, development)
        else:
            write_dng(shot, path)
        by = Settings(outlines=outlines, series=True) if options.outlined and k else None
        measured = measure(path, by)
        outlines = outlines or tuple(sample.outline_px for sample in measured.samples)
        shown.append(measured.without_outlines())
    named = {shown[k].path: how for k, how in wrong.items()}
    found = len(shown[0].samples) == len(NAMES)
    courses = [asdict(c.course) for c in changes]
    return shown, Truth(courses, ratio, photos, iso, named, development.tone, development.lift, found)


def series_kept(seed, options, folder):
    """The same, from the folder that keeps them if they are there."""
    kind = f"{'jpeg' if options.jpeg else 'raw'}{'-curves' if options.curves else ''}"
    kind += (
        "-dark" * options.dark
        + "-outlined" * options.outlined
        + (f"-{options.spoil}" if options.spoil else "")
    )
    path = options.keep and Path(options.keep) / f"{kind}-{seed:04}.json"
    if path and path.exists():
        document = json.loads(path.read_text())
        return photos_from_json(document), Truth(**document["truth"])
    photos, truth = rendered_series(seed, options, folder)
    if path:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps({**measure_document(photos, (), ""), "truth": asdict(truth)}))
    return photos, truth


def rows_of(seed, photos, truth):
    """A row for each vial, and the courses of what does not change, with whether they are overexposed."""
    named, course = track(photos, Plan(("control",), (), "2026-05-04T09:00"), NAMES)
    over = {s.name for p in (named[0], named[-1]) for s in p.samples if s.clipped_fraction > 0.01}
    rows = [
        Row(seed, name, Course(**told), truth, course.sample(name), name in over)
        for name, told in zip(VIALS, truth.courses, strict=True)
    ]
    return rows, [(truth, course.sample(name), name in over) for name in ("still", "control")]


def line(label, rows):
    """One line of figures for these vials."""
    given = [r for r in rows if r.half is not None]
    if not given:
        return f"{label:24} n {len(rows):4} none given"
    error = [r.error for r in given]
    closed = [r for r in given if r.closed]
    held, width = np.mean([r.held for r in closed]), np.median([r.width for r in closed])
    return (
        f"{label:24} n {len(rows):4} given {len(given):4} error median {np.median(error):.4f} "
        f"p90 {np.quantile(error, 0.9):.3f}  95 % intervals hold {held:.3f}, median width {width:.3f}  "
        f"true model kept {np.mean([r.kept for r in given]):.3f}, wrong ones excluded "
        f"{np.mean([r.excluded for r in given]):.2f} of {len(MODELS) - 1}"
    )


def kinds(rows):
    """Labels and rows to tell apart."""
    for model in MODELS:
        yield model, [r for r in rows if r.course.model == model]
    plain = [r for r in rows if not r.course.induction_s and not r.course.stops_at]
    yield "no induction, no stop", plain
    yield "after an induction", [r for r in rows if r.course.induction_s]
    yield "stopping part-way", [r for r in rows if r.course.stops_at]
    for low, high in ((0.0, 0.03), (0.03, 0.1), (0.1, 1), (1, 10), (10, 30)):
        yield f"ratio {low} to {high}", [r for r in rows if low <= r.truth.ratio < high]
    for few, many in ((6, 7), (8, 10), (11, 14)):
        yield f"{few} to {many} photographs", [r for r in rows if few <= r.truth.photos <= many]
    for iso in (100.0, 400.0, 1600.0):
        yield f"ISO {iso:g}", [r for r in rows if r.truth.iso == iso]
    if any(r.truth.tone or r.truth.lift != 1.0 for r in rows):
        yield "no tone curve", [r for r in rows if not r.truth.tone]
        yield "an S", [r for r in rows if r.truth.tone and r.truth.lift == 1.0]
        yield "an S after a power", [r for r in rows if r.truth.lift != 1.0]
    yield "overexposed at an end", [r for r in rows if r.overexposed]
    yield "all others", [r for r in rows if not r.overexposed]
    yield "all", rows


def of_spoiled(rows, still):
    """How many spoiled photographs are named, and how many good ones."""
    named = right = wrong = 0
    good = bad = 0
    for truth, found in [(r.truth, r.found) for r in rows] + [(truth, found) for truth, found, _ in still]:
        spoiled = set(found.spoiled_photos)
        bad += len(truth.spoiled)
        good += len(found.points) - sum(p.path in truth.spoiled for p in found.points)
        right += len(spoiled & set(truth.spoiled))
        wrong += len(spoiled - set(truth.spoiled))
        named += bool(spoiled - set(truth.spoiled))
    yield f"spoiled photographs named: {right} of {bad} points (many are not spoiled for every vial)"
    yield f"good points named spoiled: {wrong} of {good}, in {named} of {len(rows) + len(still)} courses"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("series", type=int, nargs="?", default=30)
    parser.add_argument("--jpeg", action="store_true")
    parser.add_argument("--curves", action="store_true")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--spoil", type=int, default=0)
    parser.add_argument("--dark", action="store_true")
    parser.add_argument("--outlined", action="store_true")
    parser.add_argument("--keep")
    options = parser.parse_args()
    rows, still = [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.series):
            photos, truth = series_kept(seed, options, folder)
            if not truth.all_found:
                print(f"series {seed}: {len(photos[0].samples)} samples found in the first photograph")
                continue
            more, unchanged = rows_of(seed, photos, truth)
            rows += more
            still += unchanged
    for label, over in (("", False), (", overexposed", True)):
        unlike = Counter(found.verdict for _, found, clipped in still if clipped is over)
        changing = Counter(r.found.verdict for r in rows if r.overexposed is over)
        print(f"what does not change{label}: {dict(unlike)}; what changes{label}: {dict(changing)}")
    print(*of_spoiled(rows, still), sep="\n")
    for label, chosen in kinds(rows):
        print(line(label, chosen))
    worst = sorted((r for r in rows if r.half is not None), key=lambda r: -r.error)
    for r in worst[: max(1, len(worst) // 10)][:40]:
        c = r.course
        print(
            f"  worst: {c.model} {c.exponent:.2f} stops {c.stops_at:.2f} waits {c.induction_s / HOUR:.1f} h, "
            f"series {r.series} {r.name}, {r.truth.photos} photographs, ratio {r.truth.ratio:.2f}, "
            f"ISO {r.truth.iso:g}: {c.half_time_s / HOUR:.2f} h, found {r.half / HOUR:.2f} "
            f"({', '.join(f'{t / HOUR:.2f}' if t else 'open' for t in r.found.half_time_interval_s)}) "
            f"by {r.found.model}{'' if r.kept else ', true model excluded'}"
        )


if __name__ == "__main__":
    main()
