"""Whether the probabilities of ``glowkin match`` are right: forms, mixtures, strangers; makers held out.

    python benchmarks/matching.py ../shared/data/cameras [--trials 1040] [--modes MODE...] [--only ROW...]

A trial is three known forms and a sample that is one of them (1 in 4), two of them mixed (1 in 4) or a
stranger (1 in 2), as the default priors have it. Forms and strangers come from ``benchmarks/emitters.py``:
measured quantum dots, phosphors, diodes and display primaries, and shapes that the prior over emission has
not. A form is known by a spectrometer (1 nm, 5 % in 100 nm off), by published x, y (0.003 off) or by a
photograph of the same camera. What stands in the vial is another batch: its band is moved by 1 nm and
stretched by 3 % (one standard deviation), which the inference does not know; it takes u'v' to vary by 0.004.
Mixtures are drawn by amount, evenly, of forms that differ in brightness up to tenfold; the inference takes
shares of light to be even. Each camera is met without its maker in the prior: told by a chart, by a raw
file's matrices, or not at all (JPEG, white balance 10 % off). Photographs are channel means with noise.

Printed for each: expected calibration error (Naeini et al., AAAI 2015: ten bins of the highest probability)
beside what perfect probabilities have by chance, its table, the same over the probabilities of all answers,
the mean probability given to the truth, how often one answer has 95 % and is right then, and how wide 95 %
intervals of the light fraction are and what they cover. Rows: ``as asked`` is the above; the others break an
assumption: ``few strangers`` (1 in 5), ``close strangers`` (a form moved by 8 to 25 nm),
``larger batches`` (3 nm, 6 %).
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

import emitters
import generic
import reference
from camera_prior import cameras
from glowkin.base.matches import Assumed
from glowkin.base.uncertainty import CHI2_95_2D, Uncertain
from glowkin.camera.grid import WAVELENGTH_NM as NM
from glowkin.camera.grid import observer
from glowkin.colour.chromaticity import (
    XYZ_to_xy,
    jacobian_xy_uv_prime,
    xy_to_uv_prime,
)
from glowkin.colour.emission_shape import measured
from glowkin.findings.match import forms_ready, fraction_interval
from glowkin.findings.spectrum import PUBLISHED_SD_XY

CMF = observer(2)
FORMS = 3
SURE = 0.95


@dataclass(frozen=True)
class World:
    """What breaks or keeps the assumptions."""

    strangers: float = 0.5
    close: bool = False
    batch_nm: float = 1.0
    batch_width: float = 0.03


WORLDS = {
    "as asked": World(),
    "few strangers": World(strangers=0.2),
    "close strangers": World(close=True),
    "larger batches": World(batch_nm=3.0, batch_width=0.06),
}


@dataclass(frozen=True)
class Trial:
    """Known forms, a measured sample, what it is, and the first form's share of its light."""

    forms: list[Uncertain]
    sample: Uncertain
    truth: tuple[int, ...]
    fraction: float


def pool(rng, data):
    """Emissions, each a row: half shapes that the prior has not, the rest measured or narrow."""
    known, _ = emitters.measured(40, data)
    broad, _ = emitters.made(rng, 240)
    hard, _ = emitters.hard(rng, 40)
    return np.concatenate([known, broad, hard])


def moved(spectrum, nm, stretch):
    """A spectrum moved by so many nm and stretched about its middle."""
    middle = (spectrum * NM).sum() / spectrum.sum()
    return np.interp(middle + (NM - middle - nm) / (1 + stretch), NM, spectrum, left=0, right=0)


def batch(spectrum, rng, world):
    return moved(spectrum, world.batch_nm * rng.standard_normal(), world.batch_width * rng.standard_normal())


def of_luminance(spectrum):
    return spectrum / (spectrum @ CMF[:, 1])


def drawn(rng, shelf, world):
    """Three forms, what stands in the vial, what that is, and the first form's share of its light."""
    chosen = shelf[rng.choice(len(shelf), FORMS + 1, replace=False)]
    forms, stranger = chosen[:FORMS], chosen[FORMS]
    known = (1 - world.strangers) / 2
    kind = rng.choice(3, p=[world.strangers, known, known])
    i, j = sorted(rng.choice(FORMS, 2, replace=False))
    if kind == 0:
        if world.close:
            stranger = moved(forms[i], rng.choice([-1, 1]) * rng.uniform(8, 25), rng.uniform(-0.2, 0.2))
        return forms, stranger, (), np.nan
    if kind == 1:
        return forms, batch(forms[i], rng, world), (i,), 1.0
    amount, brighter = rng.uniform(), np.exp(rng.uniform(-np.log(10), np.log(10)))
    f = amount * brighter / (amount * brighter + 1 - amount)
    a, b = (of_luminance(batch(forms[k], rng, world)) for k in (i, j))
    return forms, f * a + (1 - f) * b, (i, j), f


def by_spectrometer(spectrum, rng):
    shift, tilt = rng.standard_normal(2) * (1.0, 0.05)
    read = np.interp(NM - shift, NM, spectrum) * np.clip(1 + tilt * (NM - 530) / 100, 0.1, None)
    uv, C = measured(NM, read / read.max()).uv_prime(2)
    return Uncertain(uv, C)


def published(spectrum, rng):
    xy = XYZ_to_xy(spectrum @ CMF) + PUBLISHED_SD_XY * rng.standard_normal(2)
    uv = xy_to_uv_prime(xy)
    J = np.linalg.inv(jacobian_xy_uv_prime(uv))
    return Uncertain(uv, PUBLISHED_SD_XY**2 * J @ J.T)


def seen(mode, S, E, prior, rng):
    if mode == "chart":
        return generic.noisy(E @ S.T, rng), reference.by_chart(S, prior, rng)
    camera, rgb, C, _ = generic.met(mode, S, E, prior, rng, together=True)
    return (rgb, C), camera


def trials(mode, cams, chosen, each, world, data):
    """So many trials of each of the chosen cameras (numbers), each met without its maker in the prior."""
    shelf, out = pool(np.random.default_rng(19), data), []
    names = list(cams)
    for number in chosen:
        rng = np.random.default_rng([19, list(WORLDS.values()).index(world), number])
        S, prior = camera_and_prior(cams, names[number])
        scenes = [drawn(rng, shelf, world) for _ in range(each)]
        bases = rng.choice(3, (each, FORMS))
        E = np.concatenate([np.vstack([forms, sample]) for forms, sample, _, _ in scenes])
        (rgb, C), camera = seen(mode, S, E / E.max(axis=1, keepdims=True), prior, rng)
        found = camera.infer(rgb, C)
        for k, (spectra, _, truth, f) in enumerate(scenes):
            first = k * (FORMS + 1)
            forms = [known(b, spectra[i], found.uncertain(first + i), rng) for i, b in enumerate(bases[k])]
            out.append(Trial(forms, found.uncertain(first + FORMS), truth, f))
    return out


def camera_and_prior(cams, name):
    S = np.stack([np.interp(NM, reference.WL, row) for row in cams[name]])
    return S / S.sum(axis=1, keepdims=True) * [[0.6], [1.0], [0.8]], reference.without(cams, name)


def known(basis, spectrum, photographed, rng):
    """A form as its file has it, by a spectrometer, a publication or a photograph."""
    if basis == 0:
        return by_spectrometer(spectrum, rng)
    return published(spectrum, rng) if basis == 1 else photographed


def judged(trial, assumed, kind="raw"):
    """Probabilities by answer, whether each is the truth, and the true mixture's interval."""
    ready = forms_ready([str(i) for i in range(FORMS)], trial.forms, assumed)
    told = ready.told(trial.sample, kind)
    answers = [a.forms for a in ready.answers] + [()]
    at = answers.index(trial.truth)
    interval = None
    if len(trial.truth) == 2:
        interval = fraction_interval(ready.answers[at].fraction, told.weight[at])
    return told.probability, at, interval


def calibration(p, right, bins=10):
    """Expected calibration error, and for each bin: from, count, mean probability, share that is right."""
    place = np.minimum((p * bins).astype(int), bins - 1)
    rows = [(b / bins, (place == b).sum(), p[place == b].mean(), right[place == b].mean())
            for b in range(bins) if (place == b).any()]  # fmt: skip
    return sum(n * abs(m - r) for _, n, m, r in rows) / len(p), rows


def of_perfect(P, n=200):
    """Calibration error that perfect probabilities have by chance: mean, and below it 95 %."""
    rng, top = np.random.default_rng(1), P.argmax(axis=1)
    found = []
    for _ in range(n):
        true = (rng.uniform(size=(len(P), 1)) > P.cumsum(axis=1)).sum(axis=1)
        found.append(calibration(P.max(axis=1), top == true)[0])
    return np.mean(found), np.quantile(found, 0.95)


def report(title, done, some, table):
    P = np.array([p for p, _, _ in some])
    at = np.array([k for _, k, _ in some])
    top, of_truth = P.argmax(axis=1), P[np.arange(len(P)), at]
    ece, rows = calibration(P.max(axis=1), top == at)
    every, _ = calibration(P.ravel(), (np.arange(P.shape[1]) == at[:, None]).ravel())
    chance, most = of_perfect(P)
    sure = P.max(axis=1) >= SURE
    axis = np.median([np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(t.sample.covariance)[1]) for t in done])
    print(
        f"{title:24} n {len(P)}  calibration error {ece:.3f} (by chance {chance:.3f}, up to "
        f"{most:.3f}; all answers {every:.3f})  truth given "
        f"{of_truth.mean():.3f}, log score {np.log(of_truth).mean():.3f}, likeliest is true "
        f"{np.mean(top == at):.3f}; sure in {sure.mean():.3f}, then right "
        f"{np.mean((top == at)[sure]) if sure.any() else np.nan:.3f}; semi-axis {axis:.4f}", flush=True,
    )  # fmt: skip
    kinds = np.array([len(t.truth) for t in done])
    for k, word in ((0, "strangers"), (1, "forms"), (2, "mixtures")):
        if (kinds == k).any():
            print(f"    {word:10} n {(kinds == k).sum():4}  truth given {of_truth[kinds == k].mean():.3f}")
    by_photo = np.array([bool(t.truth) and all(t.forms[k].shared for k in t.truth) for t in done])
    if by_photo.any():
        print(f"    of forms photographed by the camera n {by_photo.sum()}  {of_truth[by_photo].mean():.3f}")
    if table:
        for low, n, mean, share in rows:
            print(f"    {low:.1f} to {low + 0.1:.1f}  n {n:4}  said {mean:.3f}  true {share:.3f}")
    ends = np.array([(*i, t.fraction) for (_, _, i), t in zip(some, done, strict=True) if i is not None])
    if len(ends):
        inside = (ends[:, 1] <= ends[:, 3]) & (ends[:, 3] <= ends[:, 2])
        print(
            f"    light fraction of mixtures: covered {inside.mean():.3f}, width median "
            f"{np.median(ends[:, 2] - ends[:, 1]):.3f}, error median "
            f"{np.median(abs(ends[:, 0] - ends[:, 3])):.3f}", flush=True,
        )  # fmt: skip


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder")
    parser.add_argument("--trials", type=int, default=1040)
    parser.add_argument("--modes", nargs="*", default=["chart", "raw", "jpeg"])
    parser.add_argument("--only", nargs="*", default=list(WORLDS), choices=WORLDS)
    parser.add_argument("--every", type=int, default=1)
    options = parser.parse_args()
    cams = cameras(options.folder)
    chosen = range(0, len(cams), options.every)
    data = options.folder.rstrip("/").removesuffix("cameras")
    for mode in options.modes:
        for name in options.only:
            done = trials(mode, cams, chosen, -(-options.trials // len(chosen)), WORLDS[name], data)
            kind = "rendered" if mode == "jpeg" else "raw"
            some = [judged(t, Assumed(), kind) for t in done]
            report(f"{mode}, {name}", done, some, table=name == "as asked")


if __name__ == "__main__":
    main()
