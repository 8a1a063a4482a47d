"""Maps of rendered series whose fronts are known, from files to figures. Truths: the fronts' formulas."""

from __future__ import annotations

import json
from datetime import datetime

import numpy as np
import pytest

import glowkin
from glowkin.base.maps import AT_ONE_SIDE, AT_RIM, EVENLY, IN_MIDDLE
from glowkin.cli import main
from glowkin.findings.begins import Seen, begins, patches
from glowkin.findings.maps import Forms, unmixed
from glowkin.light.crop import crops_of
from glowkin.light.decode import open_photo
from glowkin.light.noise import estimate_noise
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, Shake, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance
from glowkin.telling.maps_file import read_maps
from glowkin.telling.out_dir import rebuild

HOUR = 3600.0
HOURS = (0, 1, 2, 3, 5, 8, 14, 30)
SIZE, RADIUS = (720, 480), 46
SOFT = 0.04


def step(z):
    return 1.0 / (1.0 + np.exp(-z / SOFT))


FRONTS = {
    "rim": lambda f: lambda rho, _angle: step(rho - np.sqrt(f)),
    "middle": lambda f: lambda rho, _angle: step(np.sqrt(1.0 - f) - rho),
    "side": lambda f: lambda rho, angle: step(rho * np.cos(angle) - 2.4 * (f - 0.5)),
    "even": None,
}
"""Share of the new form at each place with the fraction f left: by area, a front is at sqrt(f), and so on."""
NAMES = (*FRONTS, "still", "control")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A red form becoming a five times brighter green one, each vial in its own way."""
    folder = tmp_path_factory.mktemp("series")
    red, green = with_luminance(band(620, 80), 0.05), with_luminance(band(525, 60), 0.25)
    yellow = with_luminance(band(570, 80), 0.12)
    samples = [
        SceneSample(name, Shape("vial", centre, RADIUS), yellow if name == "control" else red, seed=i)
        for i, (name, centre) in enumerate(zip(NAMES, grid_centres(SIZE, 3, 2), strict=True))
    ]
    course = Course("first-order", 4 * HOUR)
    changes = [Change(name, course, green, front=front) for name, front in FRONTS.items()]
    series = photograph_series(
        Scene(SIZE, tuple(samples), surroundings_violet=0.0003, seed=4),
        changes,
        [h * HOUR for h in HOURS],
        default_camera(),
        np.random.default_rng(11),
        Exposure(taken_at=datetime(2026, 5, 4, 9)),
        lamp_drift=0.03,
        shake=Shake(0.02, 1.5, 0.02),
    )
    for i, shot in enumerate(series.shots):
        write_dng(shot, folder / f"{i}.dng")
    return folder


def track(folder, out, *options, runner):
    arguments = ["track", str(folder), "--names", ",".join(NAMES), "--out", str(out), *options]
    done = runner.invoke(main, arguments)
    assert done.exit_code == 0, done.output
    return {s["name"]: s for s in json.loads((out / "track.json").read_text())["samples"]}


@pytest.fixture(scope="module")
def tracked(folder, tmp_path_factory):
    from click.testing import CliRunner

    out = tmp_path_factory.mktemp("out")
    return out, track(folder, out, "--control", "control", runner=CliRunner())


def test_where_changes_begin_is_told_of_rendered_fronts(tracked):
    _, samples = tracked
    said = {name: s["map"] and s["map"]["begins"] for name, s in samples.items()}
    assert said == {
        "rim": AT_RIM, "middle": IN_MIDDLE, "side": AT_ONE_SIDE, "even": EVENLY,
        "still": None, "control": None,
    }  # fmt: skip
    assert not any(s["map"]["by_light"] for s in samples.values() if s["map"])


@pytest.mark.parametrize("name", ["rim", "middle"])
def test_the_front_stands_where_it_truly_is(tracked, name):
    """By the rendered formula: half-way at sqrt(f) radii (rim) or sqrt(1 - f) (middle); within 4 %."""
    left = 0.5 ** (np.array(HOURS) / 4.0)
    for shown in read_maps(tracked[0])[name]:
        f = left[HOURS.index(shown.time_s / HOUR)]
        if not 0.2 < f < 0.8:
            continue
        inner = shown.values > 0.5 if name == "rim" else shown.values < 0.5
        radius = np.sqrt(inner.sum() / np.pi) * shown.pixel_px / RADIUS
        assert radius == pytest.approx(np.sqrt(f if name == "rim" else 1.0 - f), abs=0.04)


def test_maps_hold_the_amount_of_the_whole_sample(tracked):
    """First order with a half-time of 4 h (the rendered formula), evenly all over."""
    for shown in read_maps(tracked[0])["even"]:
        assert np.nanmean(shown.values) == pytest.approx(0.5 ** (shown.time_s / HOUR / 4.0), abs=0.02)
        assert np.isfinite(shown.values[shown.inside]).mean() > 0.98
        assert max(shown.values.shape) <= 64


def test_photographs_are_chosen_evenly_in_fraction(tracked):
    fractions = [shown.fraction for shown in read_maps(tracked[0])["even"]]
    assert len(fractions) == 5
    assert fractions == sorted(fractions, reverse=True)
    assert fractions == pytest.approx([1.0, 0.75, 0.5, 0.25, 0.0], abs=0.13)


def test_the_strip_is_in_figures_and_report_and_is_made_again(tracked):
    out, _ = tracked
    assert (out / "figures" / "maps-1.svg").is_file()
    assert (out / "figures" / "maps-1.png").is_file()
    html = (out / "report.html").read_text()
    for words in ("rim begins at the rim", "even begins evenly all over", "Where it begins, by the maps"):
        assert words in html
    strips = html.count("amount left in the starting form</text>")
    assert strips == 1
    assert rebuild(out).read_text().count('aria-label="Maps of how far') == 1


def test_without_a_control_maps_are_of_light_and_say_so(folder, tmp_path):
    from click.testing import CliRunner

    samples = track(folder, tmp_path, runner=CliRunner())
    assert samples["rim"]["map"]["begins"] == AT_RIM
    assert samples["rim"]["map"]["by_light"] is True
    assert (
        "Light is not amount: the brighter form shows more than there is of it."
        in (tmp_path / "report.html").read_text()
    )


def test_a_photograph_that_is_gone_or_changed_is_left_out(folder, tmp_path):
    """Between measuring and mapping."""
    from glowkin import recipes
    from glowkin.base.settings import Settings
    from glowkin.findings.mapped import Wanted

    path = tmp_path / "0.dng"
    path.write_bytes((folder / "0.dng").read_bytes())
    wanted = {str(path): Wanted("0" * 64, {"rim": ((10.0, 10.0), (50.0, 10.0), (30.0, 50.0))})}
    assert recipes.cut_out(path, Settings(), wanted) == {}


def even_vials(folder, seed):
    """Twelve vials that turn over evenly: of each its pixels unconverted, half-way and converted, with stray
    light taken off.
    """
    red, green = with_luminance(band(620, 80), 0.05), with_luminance(band(525, 60), 0.25)
    samples = tuple(
        SceneSample(f"v{i}", Shape("vial", centre, 40), red, seed=100 * seed + i)
        for i, centre in enumerate(grid_centres(SIZE, 4, 3))
    )
    series = photograph_series(
        Scene(SIZE, samples, surroundings_violet=0.0, seed=seed),
        [Change(s.name, Course("first-order", 4 * HOUR), green) for s in samples],
        [0.0, 4 * HOUR, 60 * HOUR],
        default_camera(),
        np.random.default_rng(seed),
        Exposure(taken_at=datetime(2026, 5, 4, 9)),
    )
    shown = []
    for i, shot in enumerate(series.shots):
        path = folder / f"{seed}-{i}.dng"
        write_dng(shot, path)
        photo, found = open_photo(path), glowkin.measure(path).samples
        assert len(found) == len(samples)
        crops = crops_of(photo, [np.array(s.outline_px) for s in found], estimate_noise(photo))
        shown.append(list(zip(crops, found, strict=True)))
    for three in zip(*shown, strict=True):
        start, end = (np.array(three[i][1].linear_rgb) for i in (0, 2))
        forms = Forms(start, end, np.arange(3), by_light=False)
        yield [
            Seen(unmixed(crop, s.stray_rgb, forms), crop.inside, crop.pixel_px, f, f"{f}", 0.0)
            for (crop, s), f in zip(three, (1.0, 0.5, 0.0), strict=True)
        ]


def alike_in_neighbours(seen):
    """Products of what is left of neighbouring patches, in units of its variance, when a smooth function of
    place is taken off (which alone makes them H apart), and how many there are.
    """
    p = patches(seen, "raw")
    X = p.basis()
    H = X @ np.linalg.pinv(X)
    r = p.fraction - H @ p.fraction
    far = np.hypot(p.x[:, None] - p.x, p.y[:, None] - p.y)
    near = (far > 0.0) & (far < 1.3 * far[far > 0.05].min())
    return float(((np.outer(r, r) / (r @ r / (len(r) - 5)) + H) * near).sum()), int(near.sum())


def test_of_rendered_vials_that_turn_over_evenly_no_place_is_named(tmp_path):
    """36 vials. The chance of a correlation with depth is that of shuffled patches, as if neighbours were not
    alike: in patches of this size they are not, and one in twenty falls below 5 % (binomial, 99 %: up to 5).
    """
    three = [seen for seed in range(3) for seen in even_vials(tmp_path, seed)]
    found = [begins(seen, "raw", by_light=False) for seen in three]
    named = [f.begins for f in found if f.begins != EVENLY]
    low = sum(f.p_value < 0.05 for f in found)
    products, pairs = np.sum([alike_in_neighbours(s) for seen in three for s in seen], axis=0)
    told = f"named {named}, {low} of 36 below 5 %, neighbours alike by {products / pairs:.3f}"
    assert len(found) == 36
    assert len(named) <= 1, told
    assert low <= 5, told
    assert abs(products / pairs) < 0.05, told
    assert max(f.spread_at_most for f in found) < 0.05, told
