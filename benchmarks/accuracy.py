"""How far colours err and whether 95 % regions hold the true ones, on cameras and spectra no prior saw.

    python benchmarks/accuracy.py [--mode known chart lights violet jpeg] [--cameras usual|bare|phone]
                                  [--emitters usual|hard] [--hold maker|camera] [--gains own|free]
                                  [--draws N]

Each camera of ``../shared/data/cameras`` is met with a prior over cameras made without its maker, or, with
``--hold camera``, without itself alone, as often as ``--draws`` tells: charts, diodes, lamp violet, white
balances, curves and noise are drawn anew each time. Raw channels have the gains of the measured cameras
(``--gains free``: drawn, 30 % a channel). Emitters (``emitters.py``): ``usual`` are 8 quantum dots, all
phosphors, diodes and primaries, and 60 made bands peaking in 440-660 nm and 45-120 nm wide; ``hard`` are 60
narrow bands and lines.

known   sensitivities known exactly
chart   one photograph of 24 patches: daylight of 5000-7500 K, patches 2 % off their table, flare to 2 %,
        light uneven by 15 %; temperature, flare, gradient and gains fitted
        and, unless ``--matrices none``, a raw file's own two matrices, by a maker who fitted other surfaces
        (``generic.py``) to a camera of this model whose gains are 1.5 % off
lights  the same chart and ten diodes whose peaks are 3 nm off (one standard deviation)
violet  the chart's camera; lamp violet to 10 % of the brightest channel, its direction known, its amount not
jpeg    a file rendered by a camera unknown: white balance 10 % off a channel, half with a tone curve

Beside each, from the same run: a 3 x 3 matrix by unweighted linear least squares without offset, over the
chart in perfect D65 (``matrix``) and over the chart as photographed (``own chart``), and colour-science's
root-polynomial of degree 2 over the perfect chart; for JPEG, the file at face value.
"""

from __future__ import annotations

import argparse
import warnings
from dataclasses import dataclass, fields
from pathlib import Path
from unittest import mock

import numpy as np

import camera_prior
import emitters
from generic import LIGHT_A, LIGHTS, makers_matrix
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera import development
from glowkin.camera.answers import seen_by
from glowkin.camera.calibrate import OWN, ChartSeen, LightsSeen, calibrate
from glowkin.camera.daylight import chart_light
from glowkin.camera.emission import Camera
from glowkin.camera.emission_prior import bands_of, emission_prior
from glowkin.camera.grid import WAVELENGTH_NM as NM
from glowkin.camera.grid import observer
from glowkin.camera.sensitivities import Sensitivities, gains_of, prior_of
from glowkin.colour.chromaticity import XYZ_to_uv_prime, uv_prime_to_xy
from glowkin.colour.dominant import dominant
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.findings.describe import describe

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

SHAPE = colour.SpectralShape(380, 780, 2)
PATCHES = np.array([p.copy().align(SHAPE).values for p in colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()])
PLACES = np.array([((i % 6) / 5 - 0.5, (i // 6) / 3 - 0.5) for i in range(24)])
CMF = observer(2)
WHITE = np.full(2, 1 / 3)
MODES = ("known", "chart", "lights", "violet", "jpeg")
SEED = 3
NOISE = 0.002
"""Error of a channel's mean over a sample, as a share of the brightest channel."""


@dataclass
class Scores:
    """What became of c cameras times n emitters; fields are c x n (x 2), intervals c x n x 2."""

    found: np.ndarray
    covariance: np.ndarray
    matrix: np.ndarray
    own_chart: np.ndarray
    root: np.ndarray
    wavelength: np.ndarray
    purity: np.ndarray
    band: np.ndarray


def spectra(kind, data):
    """Emission spectra (n x 201) and their classes."""
    rng = np.random.default_rng(11)
    if kind == "hard":
        S, classes = emitters.hard(rng, 60)
        return S, np.array(classes)
    (A, a), (B, b) = emitters.measured(8, data), emitters.made(rng, 60)
    return np.concatenate([A, B]), np.array(a + b)


def met_with(kind, data):
    """The measured cameras, their gains, and the emitters with their classes."""
    folder = Path(data) / "cameras"
    return camera_prior.cameras(folder), camera_prior.gains(folder), *spectra(kind, data)


def on_grid(S5):
    """Sensitivities (3 x 81) of a measured camera at the prior's wavelengths (3 x 201)."""
    return np.stack([np.interp(NM, camera_prior.WL, row) for row in S5])


def changed(S, kind):
    """A camera of another kind (3 x 201): without its infrared filter, or narrower and shifted."""
    if kind == "bare":
        return S / np.maximum(1 / (1 + np.exp((NM - 655) / 16)), 0.02)
    if kind == "phone":
        narrower = (S / S.max(axis=1, keepdims=True)) ** 1.3
        return np.stack(
            [np.interp(NM - s, NM, row, 0, 0) for s, row in zip((-8, 5, 8), narrower, strict=True)]
        )
    return S


def daylight(kelvin):
    """CIE daylight, mean 1, by colour-science."""
    xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
    power = colour.sd_CIE_illuminant_D_series(xy).copy().align(SHAPE).values
    return power / power.mean()


D65 = daylight(6504)


def chart_photograph(S, rng):
    """Channel means (24 x 3) of a chart as a chemist photographs it, in the camera's own gains."""
    t = (NM - 560) / 160
    shapes = np.stack([np.ones_like(t), t, 1.5 * t * t - 0.5]) / 3**0.5
    R = PATCHES * (1 + 0.02 * rng.standard_normal((24, 3)) @ shapes)
    lit = (R + rng.uniform(0, 0.02)) * daylight(rng.uniform(5000, 7500))
    shade = 1 + PLACES @ rng.uniform(-0.075, 0.075, 2) * 2
    return lit @ S.T * shade[:, None] * (1 + 0.003 * rng.standard_normal((24, 3)))


def file_matrices(S, rng):
    """A raw file's own matrices from its channels to XYZ, for illuminant A and for daylight."""
    of_model = S * np.exp(rng.normal(0, 0.015, 3))[:, None]
    lights = LIGHT_A, LIGHTS[int(rng.choice([5003, 6504]))]
    return tuple(makers_matrix(of_model, L / (L @ CMF)[1], rng, balanced=False) for L in lights)


def diodes(S, rng):
    """Ten diodes photographed, whose peaks are 3 nm from what their seller says."""
    peaks = np.array([405, 430, 455, 470, 500, 525, 560, 590, 620, 660.0])
    widths = np.linspace(15, 30, 10)

    def of(peak, width):
        side = np.where(peak[:, None] > NM, 0.85, 1.15)
        return np.exp(-0.5 * ((NM - peak[:, None]) / (width[:, None] / 2.3548 * side)) ** 2)

    rgb = of(peaks + rng.normal(0, 3, 10), widths) @ S.T * (1 + 0.005 * rng.standard_normal((10, 3)))
    return LightsSeen(rgb, of(peaks, widths), np.full(10, 3.0))


def jpeg(S, E, rng):
    """Linear sRGB and its covariance, read back from a rendered file; written apart from ``development``."""
    light = daylight(rng.uniform(5000, 6500))
    to_xyz = np.linalg.lstsq(PATCHES * D65 @ S.T, PATCHES * D65 @ CMF, rcond=None)[0]
    grey = (light @ S.T) / (D65 @ S.T)
    balance = np.exp(rng.normal(0, 0.1, 3))
    linear = E @ S.T / grey / balance * ((light @ CMF)[1] / (D65 @ CMF)[1])
    linear = linear @ to_xyz @ np.linalg.inv(RGB_TO_XYZ["sRGB"]).T
    grey_level = linear @ np.array([0.2126, 0.7152, 0.0722])
    linear = grey_level[:, None] + rng.uniform(1.0, 1.15) * (linear - grey_level[:, None])
    level = rng.uniform(0.2, 0.85, (len(E), 1)) / linear.max(axis=1, keepdims=True)
    code = colour.models.eotf_inverse_sRGB(np.clip(linear * level, 0, 1))
    if rng.random() < 0.5:
        bend = rng.uniform(0.1, 0.6)
        code = (1 - bend) * code + bend * code**2 * (3 - 2 * code)
    code = np.round(code * 255) / 255
    seen = colour.models.eotf_sRGB(code)
    step = colour.models.eotf_sRGB(np.minimum(code + 1 / 255, 1)) - seen
    sd = np.maximum(step, 1e-4) / 12**0.5
    return seen, sd[:, :, None] ** 2 * np.eye(3)


def meet(mode, S, E, prior, rng, told=()):
    """One camera in one mode: the camera inferred, channel means, covariance, stray light, charts.

    ``told`` are the raw file's own matrices.
    """
    photographed = chart_photograph(S, rng)
    if mode == "jpeg":
        rgb, C = jpeg(S, E, rng)
        with mock.patch.object(development, "camera_prior", return_value=prior[0]):
            made = development.developed(emission_prior(), RGB_TO_XYZ["sRGB"], development.BALANCE["set"], 2)
        return (
            Camera("x", "generic", space=RGB_TO_XYZ["sRGB"], balance=0.1, _tables={2: made}),
            rgb,
            C,
            None,
            None,
        )
    rgb, stray = E @ S.T, None
    if mode == "violet":
        lamp = np.exp(-0.5 * ((NM - 405) / 9) ** 2) @ S.T
        lamp /= lamp.max()
        top = rgb.max(axis=1, keepdims=True)
        rgb = rgb + rng.uniform(0, 0.1, (len(E), 1)) * top * lamp
        rgb -= 0.05 * top * lamp
        stray = (0.1 / 12**0.5 * top * lamp)[:, :, None]
    sd = NOISE * rgb.max(axis=1, keepdims=True)
    rgb = rgb + sd * rng.standard_normal(rgb.shape)
    C = sd[:, :, None] ** 2 * np.eye(3)
    if mode == "known":
        known = Sensitivities(S, np.zeros((3, NM.size, 0)))
    else:
        lights = diodes(S, rng) if mode == "lights" else None
        seen = ChartSeen(photographed, PATCHES, PLACES, to_xyz=told)
        known = calibrate(seen, chart_light("daylight"), lights, *prior).sensitivities
    made = seen_by(emission_prior(), known, 2)
    return Camera("x", mode, sensitivities=known, _tables={2: made}), rgb, C, stray, (S, photographed)


def by_matrices(rgb, charts):
    """U'v' by the matrix of the perfect chart, that of the photographed one, and the root-polynomial."""
    if charts is None:
        face = XYZ_to_uv_prime(np.maximum(rgb, 1e-6) @ RGB_TO_XYZ["sRGB"].T)
        return face, face, face
    S, photographed = charts
    XYZ, perfect = PATCHES * D65 @ CMF, PATCHES * D65 @ S.T
    out = [rgb @ np.linalg.lstsq(chart, XYZ, rcond=None)[0] for chart in (perfect, photographed)]

    def roots(values):
        positive = np.maximum(values, 1e-9)
        return colour.characterisation.polynomial_expansion_Finlayson2015(positive, 2, True)

    out.append(roots(rgb) @ np.linalg.lstsq(roots(perfect), XYZ, rcond=None)[0])
    return [XYZ_to_uv_prime(values) for values in out]


def prior_without(cams, gained, key, hold, mode):
    """The priors over cameras and gains without this camera (maker and model) or all of its maker."""
    rest = {k: v for k, v in cams.items() if (k[0] != key[0] if hold == "maker" else k != key)}
    table = camera_prior.table_of(rest, gained)
    return prior_of(table if mode == "jpeg" else table | {"own": OWN}), gains_of(table)


def run(mode, cams, E, gained, kind="usual", hold="maker", free=False, only=None, matrices=True, seed=SEED):
    """Every camera of ``cams`` (by maker and model) with every spectrum.

    ``gained`` are the cameras' own log gains of red and blue; channels of the others get gains drawn.
    ``only`` these cameras are met, the priors made of all.
    """
    rows = []
    for number, key in enumerate(only or cams):
        S5, rng = cams[key], np.random.default_rng((seed, number))  # the same chart in every mode
        prior = prior_without(cams, gained, key, hold, mode)
        whole = on_grid(S5)
        S = changed(whole, kind)
        S = S / S5.sum(axis=1)[:, None]
        drawn = rng.normal(0, 0.3, 3)
        S = S * np.exp(np.insert(gained[key], 1, 0.0) if key in gained and not free else drawn)[:, None]
        # A sensor without its infrared filter keeps its maker's matrices.
        model = whole * (S.sum(axis=1) / whole.sum(axis=1))[:, None] if kind == "bare" else S
        told = file_matrices(model, np.random.default_rng((seed, number, 1))) if matrices else ()
        camera, rgb, C, stray, charts = meet(mode, S, E, prior, rng, told)
        seen = camera.infer(rgb, C, stray=stray)
        each = [seen.uncertain(i) for i in range(len(E))]
        words = describe(each, WHITE, 2)
        none = (np.nan, np.nan)
        rows.append((
            seen.uv_prime,
            np.array([u.covariance for u in each]),
            *by_matrices(rgb, charts),
            np.array([w.dominant_wavelength_interval_nm or none for w in words]),
            np.array([w.excitation_purity_interval for w in words]),
            seen.band,
        ))  # fmt: skip
    return Scores(*(np.array(column) for column in zip(*rows, strict=True)))


def drawn_anew(draws, *args, **options):
    """So many runs of charts, balances and noise drawn anew, as one of that many times the cameras."""
    runs = [run(*args, **options, seed=SEED + k) for k in range(draws)]
    return Scores(*(np.concatenate([getattr(r, f.name) for r in runs]) for f in fields(Scores)))


class Summary:
    """Figures of one run."""

    def __init__(self, scores, E, classes, makers):
        self.scores, self.classes, self.makers = scores, classes, np.array(makers)
        self.true = XYZ_to_uv_prime(E @ CMF)
        self.E = E
        self.error = self.off(scores.found)
        e = self.true - scores.found
        d2 = np.einsum("cni,cnij,cnj->cn", e, np.linalg.inv(scores.covariance), e)
        self.covered = d2 < CHI2_95_2D
        self.axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(scores.covariance)[..., 1])

    def off(self, found):
        """Distance of each colour found from the true one."""
        return np.hypot(*np.moveaxis(found - self.true, -1, 0))

    def bootstrap(self, draws=400):
        """95 % interval of the coverage, cameras (by maker) and spectra drawn anew."""
        rng, names = np.random.default_rng(0), np.unique(self.makers)
        out = []
        for _ in range(draws):
            of = rng.choice(names, len(names))
            rows = np.concatenate([np.flatnonzero(self.makers == m) for m in of])
            out.append(self.covered[rows][:, rng.integers(0, len(self.E), len(self.E))].mean())
        return np.quantile(out, [0.025, 0.975])

    def apart(self):
        """90th percentile of two cameras' disagreement: by glowkin and by the matrix."""
        out = []
        for found in (self.scores.found, self.scores.matrix, self.scores.own_chart):
            pairs = [
                np.hypot(*(found[i] - found[j]).T)
                for i in range(len(found))
                for j in range(i)
                if self.makers[i] != self.makers[j]
            ]
            out.append(np.quantile(pairs, 0.9))
        return out

    def intervals(self):
        """Coverage and median width of dominant wavelength, purity, band centre and band width."""
        at = dominant(uv_prime_to_xy(self.true), WHITE, 2)
        inside = np.isfinite(at.dominant_wavelength_nm) & (at.excitation_purity > 0.1)
        inside &= (at.dominant_wavelength_nm > 400) & (at.dominant_wavelength_nm < 695)
        band = bands_of(self.E.astype(np.float32))
        single = np.isfinite(band[:, 0]) & ~np.isin(self.classes, ("two bands", "lines"))
        s = self.scores
        return {
            "dominant wavelength": _held(at.dominant_wavelength_nm[inside], s.wavelength[:, inside]),
            "purity": _held(np.minimum(at.excitation_purity, 1.0), s.purity),
            "band centre": _held(band[single, 0], s.band[:, single, 0, 1:]),
            "band width": _held(band[single, 1], s.band[:, single, 1, 1:]),
        }

    def report(self, mode):
        """Print the figures."""
        e, m = self.error, self.off(self.scores.matrix)
        q = [np.quantile(x, 0.9) for x in (e, m)]
        low, high = self.bootstrap()
        ours, theirs, own = self.apart()
        print(f"{mode}: {e.size} cells, {len(e)} photographs by {len(np.unique(self.makers))} makers")
        print(f"  error {np.median(e):.4f} / {q[0]:.4f}, covered {self.covered.mean():.3f}", end=" ")
        print(f"({low:.3f}-{high:.3f}), semi-axis {np.median(self.axis):.4f}")
        for name, found in (("matrix", m), ("own chart", self.off(self.scores.own_chart)),
                            ("root-polynomial", self.off(self.scores.root))):  # fmt: skip
            print(f"  {name} {np.median(found):.4f} / {np.quantile(found, 0.9):.4f}", end=";")
        print(f" ratio of 90th percentiles {q[0] / q[1]:.2f}")
        print(f"  two cameras apart {ours:.4f}, by the matrix {theirs:.4f}, ratio {ours / theirs:.2f}; "
              f"by their own chart's {own:.4f}, ratio {ours / own:.2f}")  # fmt: skip
        for name, (held, width, told) in self.intervals().items():
            print(f"  {name}: covered {held:.3f}, half-width {width:.3g}, told {told:.2f}")
        for k in np.unique(self.classes):
            w = self.classes == k
            print(f"    {k:10s} {w.sum():3d}  {np.median(e[:, w]):.4f} / {np.quantile(e[:, w], 0.9):.4f}  "
                  f"{self.covered[:, w].mean():.3f}  {np.median(self.axis[:, w]):.4f}   matrix "
                  f"{np.median(m[:, w]):.4f} / {np.quantile(m[:, w], 0.9):.4f}")  # fmt: skip


def _held(true, interval):
    """Coverage, median half-width and share told of intervals (c x n x 2)."""
    told = np.isfinite(interval).all(axis=-1)
    held = (interval[..., 0] <= true) & (true <= interval[..., 1])
    return held[told].mean(), np.median(np.diff(interval[told])) / 2, told.mean()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mode", nargs="*", default=MODES, choices=MODES)
    parser.add_argument("--cameras", default="usual", choices=("usual", "bare", "phone"))
    parser.add_argument("--emitters", default="usual", choices=("usual", "hard"))
    parser.add_argument("--hold", default="maker", choices=("maker", "camera"))
    parser.add_argument("--gains", default="own", choices=("own", "free"))
    parser.add_argument("--matrices", default="own", choices=("own", "none"))
    parser.add_argument("--draws", type=int, default=6)
    parser.add_argument("--data", default="../shared/data")
    options = parser.parse_args()
    cams, gained, E, classes = met_with(options.emitters, options.data)
    makers = [maker for maker, _ in cams] * options.draws
    for mode in options.mode:
        scores = drawn_anew(
            options.draws, mode, cams, E, gained, options.cameras, options.hold, options.gains == "free",
            matrices=options.matrices == "own",
        )  # fmt: skip
        Summary(scores, E, classes, makers).report(mode)


if __name__ == "__main__":
    main()
