"""``camera fit`` and ``camera import`` by the command line: filters, known lights, the record of how.

Photographs are rendered: the camera, filters and lights in them are invented, so their answers are known.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace
from importlib.metadata import version

import numpy as np
import pytest
from click.testing import CliRunner

from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.cli import main
from glowkin.scene.cameras import daylight, default_camera, patch_reflectances
from glowkin.scene.chart import ChartStand, photograph_chart
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.lights import known_lights, known_toml, lights_scene
from glowkin.scene.render import photograph
from glowkin.scene.spectra import WAVELENGTH_NM, band
from glowkin.scene.stage import plain_scene

YELLOW = 0.02 + 0.9 / (1.0 + np.exp(-(WAVELENGTH_NM - 500.0) / 12.0))
GREY = np.full(WAVELENGTH_NM.size, 0.5)


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def behind(through, **changes):
    camera = default_camera()
    return camera.with_(sensitivities=camera.sensitivities * through[:, None], **changes)


def table(path, through):
    lines = (f"{w:g},{t:.5f}" for w, t in zip(WAVELENGTH_NM, through, strict=True))
    path.write_text("wavelength_nm,transmittance\n" + "\n".join(lines), encoding="utf-8")
    return path


def chart_photo(path, camera, **stand):
    return write_dng(photograph_chart(camera, np.random.default_rng(3), ChartStand(**stand)), path)


def lights_photo(path, camera, write=write_dng):
    lights = known_lights(np.random.default_rng(4))
    shot = photograph(lights_scene(lights, (900, 240)), camera, np.random.default_rng(5), brightest=0.6)
    write(shot, path)
    path.with_suffix(".toml").write_text(known_toml(lights), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Filters, a chart and samples with and without a yellow filter, and known lights."""
    folder = tmp_path_factory.mktemp("files")
    table(folder / "yellow.csv", YELLOW)
    table(folder / "grey.csv", GREY)
    chart_photo(folder / "chart.dng", default_camera())
    chart_photo(folder / "chart-yellow.dng", behind(YELLOW))
    scene = plain_scene((240, 160), [band(560.0, 80.0), band(620.0, 70.0)])
    shot = photograph(scene, behind(YELLOW), np.random.default_rng(1), brightest=0.5)
    write_dng(shot, folder / "samples.dng")
    (folder / "truths.json").write_text(json.dumps([(t.u_prime, t.v_prime) for t in shot.truths]))
    lights_photo(folder / "lights.dng", default_camera())
    return folder


@pytest.fixture(scope="module")
def cameras(files):
    """Camera files made without and behind the filter."""
    runs = (
        run("camera", "fit", files / "chart.dng", "-o", files / "bare.json"),
        run("camera", "fit", files / "chart-yellow.dng", "--filter", files / "yellow.csv",
            "-o", files / "yellow.json"),
    )  # fmt: skip
    assert [r.exit_code for r in runs] == [0, 0], [r.stderr for r in runs]
    return files


def measured(files, camera, *options):
    result = run("measure", files / "samples.dng", "--camera", files / camera, *options, "--json")
    assert result.exit_code == 0, result.stderr
    (photo,) = json.loads(result.stdout)["photos"]
    return photo


def distances(photo, files):
    """Squared distances of the samples from their known colours, by their own covariance."""
    out = []
    for sample, known in zip(photo["samples"], json.loads((files / "truths.json").read_text()), strict=True):
        error = np.array([sample["u_prime"], sample["v_prime"]]) - known
        out.append(error @ np.linalg.solve(sample["u_prime_v_prime_covariance"], error))
    return np.array(out)


@pytest.mark.parametrize("camera", ["bare.json", "yellow.json"])
def test_a_filter_is_counted_once_whether_the_camera_file_holds_it_or_not(cameras, camera):
    photo = measured(cameras, camera, "--filter", cameras / "yellow.csv")
    assert "other-filter" not in photo["flags"]
    assert "camera-unlike-prior" not in photo["flags"]
    assert (distances(photo, cameras) <= CHI2_95_2D).all()


@pytest.mark.parametrize("options", [(), ("--filter", "grey.csv"), ("--filter", "blue")])
def test_without_the_filter_of_the_camera_file_or_with_another_a_flag_says_so(cameras, options):
    given = [cameras / o if str(o).endswith(".csv") else o for o in options]
    photo = measured(cameras, "yellow.json", *given)
    assert "other-filter" in photo["flags"]


def test_the_camera_file_tells_the_filter_it_was_made_behind(cameras):
    row = json.loads((cameras / "yellow.json").read_text("utf-8"))
    assert row["filter"] == "yellow"
    at = np.interp(row["wavelength_nm"], WAVELENGTH_NM, YELLOW)
    assert row["filter_transmittance"] == pytest.approx(at, abs=1e-3)
    assert row["unlike_prior"] is False
    blue = np.array(row["mean"]["b"])[np.array(row["wavelength_nm"]) < 470].sum() / np.sum(row["mean"]["b"])
    bare = json.loads((cameras / "bare.json").read_text("utf-8"))["mean"]["b"]
    assert blue < 0.5 * np.array(bare)[np.array(row["wavelength_nm"]) < 470].sum() / np.sum(bare)


def test_a_filter_can_be_told_by_its_name_alone(cameras, tmp_path):
    csv = tmp_path / "sensitivities.csv"
    rows = np.column_stack([WAVELENGTH_NM, behind(YELLOW).sensitivities])
    np.savetxt(csv, rows, delimiter=",", fmt="%.8g", header="wavelength_nm,r,g,b", comments="")
    made = run("camera", "import", csv, "--filter", "gel 12", "-o", cameras / "gel.json", "--json")
    assert made.exit_code == 0, made.stderr
    assert json.loads(made.stdout)["filter"] == "gel 12"
    photo = measured(cameras, "gel.json", "--filter", "gel 12")
    assert "other-filter" not in photo["flags"]
    assert (distances(photo, cameras) <= CHI2_95_2D).all()
    assert "other-filter" in measured(cameras, "gel.json")["flags"]
    unknown = run("measure", cameras / "samples.dng", "--camera", cameras / "bare.json", "--filter", "gel 12")
    assert unknown.exit_code != 0
    assert "give a file of wavelength_nm,transmittance" in unknown.stderr


def test_a_missing_filter_file_is_told_by_its_name(files):
    result = run("camera", "fit", files / "chart.dng", "--filter", files / "none.csv", "-o", files / "x.json")
    assert result.exit_code == 1
    assert "none.csv: there is no such file" in result.stderr


@pytest.mark.parametrize("command", ["fit", "import"])
def test_an_output_into_a_missing_folder_is_told_by_the_folder(files, command, tmp_path):
    source = files / ("chart.dng" if command == "fit" else "yellow.csv")
    result = run("camera", command, source, "-o", tmp_path / "missing" / "camera.json")
    assert result.exit_code == 1
    assert f"there is no folder {tmp_path / 'missing'}; make it first" in result.stderr
    assert ".part" not in result.stderr
    folder = run("camera", command, source, "-o", tmp_path)
    assert folder.exit_code == 1
    assert f"{tmp_path}: is a folder; name a file in it" in folder.stderr


def hashed(path):
    return {"file": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}


def chart_table(path):
    """The patches as a table of the user's own, every 5 nm."""
    nm = WAVELENGTH_NM[::5]
    rows = [",".join([f"p{i}", *(f"{v:.5f}" for v in r[::5])]) for i, r in enumerate(patch_reflectances())]
    path.write_text("\n".join([",".join(["patch", *(f"{w:g}" for w in nm)]), *rows]), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def recorded(files):
    """A camera file from a chart with its own table and light, and from known lights; what was printed."""
    table_file, light = chart_table(files / "patches.csv"), table(files / "sky.csv", daylight(5600.0))
    result = run(
        "camera", "fit", files / "chart.dng", "--chart", table_file, "--chart-light", light,
        "--known-lights", files / "lights.dng", "--known", files / "lights.toml",
        "-o", files / "recorded.json", "--json",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout), json.loads((files / "recorded.json").read_text("utf-8"))


def test_the_camera_file_names_all_that_it_was_made_from(recorded, files):
    printed, row = recorded
    told = row["obtained"]
    assert printed["obtained"] == told
    assert {k: told[k] for k in ("file", "sha256")} == hashed(files / "chart.dng")
    assert told["chart_table"] == hashed(files / "patches.csv")
    assert told["chart_light"] == hashed(files / "sky.csv")
    assert told["light_kelvin"] is None
    lights = told["lights"]
    assert {k: lights[k] for k in ("file", "sha256")} == hashed(files / "lights.dng")
    assert lights["list"] == hashed(files / "lights.toml")
    assert [light["peak_nm"] for light in lights["listed"]] == [425, 455, 475, 505, 525, 590, 625, 655]
    assert told["versions"]["numpy"] == version("numpy")
    assert row["program"].startswith("glowkin")
    assert str(files) not in json.dumps(row)


def test_the_camera_file_tells_how_well_patches_and_lights_fit(recorded):
    told = recorded[1]["obtained"]
    assert list(told["residuals"]) == [str(k) for k in range(1, 25)]
    rms = np.sqrt(np.square(list(told["residuals"].values())).mean())
    assert told["residual_rms"] == pytest.approx(rms, abs=1e-3)
    assert 0.001 < rms < 0.03
    assert list(told["lights"]["residuals"]) == [str(k) for k in range(1, 9)]


def test_the_lights_temperature_comes_with_its_interval(cameras):
    told = json.loads((cameras / "bare.json").read_text("utf-8"))["obtained"]
    low, high = told["light_kelvin_interval"]
    assert low < 5600 < high
    assert low < told["light_kelvin"] < high
    assert (told["chart_light"], told["chart_table"]) == ("daylight", "ISO 17321-1")


def test_peaks_are_found_shifted_as_they_truly_were(recorded):
    """Errors of the stated peaks are 3 nm; the fit tells most of them."""
    true = np.array([li.true_peak_nm - li.peak_nm for li in known_lights(np.random.default_rng(4))])
    found = np.array(list(recorded[1]["obtained"]["lights"]["peak_shifts_nm"].values()))
    assert np.abs(found - true).mean() < 0.8 * np.abs(true).mean()


# A perfect white fills `brightest` of the well. The white patch sends back 0.89 of it and flare 0.01, so all
# is within 0.9 of the scale at brightest 1; black sends back 0.03 (ISO 17321-1): 28 times, 4.8 stops, less.
@pytest.mark.parametrize(("brightest", "which"), [(5.0, "of the 24"), (12.0, "of the 24"), (60.0, "all 24")])
def test_a_chart_far_too_bright_tells_how_many_stops_less(files, tmp_path, brightest, which):
    shot = photograph_chart(default_camera(), np.random.default_rng(3), ChartStand(), brightest=brightest)
    write_dng(shot, tmp_path / "over.dng")
    corners = [f"{x:g},{y:g}" for x, y in shot.chart.corners_px]
    result = run("camera", "fit", tmp_path / "over.dng", "--corners", *corners, "-o", tmp_path / "c.json")
    assert result.exit_code == 1
    assert f"{which} patches of the chart are clipped; give" in result.stderr
    told = re.search(r"(at least )?([\d.]+) stops less exposure", result.stderr)
    needed = np.log2(brightest)
    assert needed - (1.2 if told[1] else 0.1) < float(told[2]) < needed + 0.75
    assert bool(told[1]) == (which == "all 24")


def test_a_lamp_taken_for_daylight_is_told_with_the_mend(tmp_path):
    """The lamp is a Planckian radiator of 2900 K, by the exact constants of the SI."""
    metres = WAVELENGTH_NM * 1e-9
    lamp = metres**-5 / np.expm1(1.438776877e-2 / (metres * 2900.0))
    chart = chart_photo(tmp_path / "lamp.dng", default_camera(), light=lamp)
    taken = run("camera", "fit", chart, "-o", tmp_path / "camera.json")
    assert taken.exit_code == 0, taken.stderr
    assert "camera-unlike-prior" in taken.stdout
    assert "lit by light of about 2900 K and not by --chart-light daylight" in taken.stdout
    assert "give --chart-light tungsten" in taken.stdout
    right = run("camera", "fit", chart, "--chart-light", "tungsten", "-o", tmp_path / "right.json", "--json")
    told = json.loads(right.stdout)
    assert not told["unlike_prior"]
    assert told["obtained"]["to_check"] == ""


def test_daylight_taken_for_a_lamp_is_told_too_and_right_light_is_not(files, tmp_path):
    made = [
        json.loads(
            run(
                "camera",
                "fit",
                files / "chart.dng",
                "--chart-light",
                light,
                "-o",
                tmp_path / "c.json",
                "--json",
            ).stdout
        )["obtained"]["to_check"]
        for light in ("tungsten", "daylight", "5500K")
    ]
    assert "give --chart-light daylight" in made[0]
    assert made[1:] == ["", ""]


@pytest.mark.parametrize(
    ("corners", "wrong"),
    [
        (("1,2", "3,4", "5,6"), "'-o'"),
        (("1,2", "3,4", "5;6", "7,8"), "'5;6'"),
        (("1,2,3", "3,4", "5,6", "7,8"), "'1,2,3'"),
        (("inf,1", "1,2", "3,4", "5,6"), "'inf,1'"),
        (("1,2", "3,nan", "3,4", "5,6"), "'3,nan'"),
    ],
)
def test_corners_that_are_none_are_told_before_what_they_swallow(files, corners, wrong):
    result = run("camera", "fit", files / "chart.dng", "--corners", *corners, "-o", files / "c.json")
    assert result.exit_code == 2
    assert f"--corners: {wrong} is no X,Y; give four in pixels, such as 100,80 900,80" in result.stderr


def test_an_imported_table_like_no_cameras_is_told_by_what_a_table_has(tmp_path):
    """A sensor without its infrared filter, whose red goes on: no camera of the prior is like it."""
    bare = default_camera().sensitivities * np.exp((WAVELENGTH_NM - 550.0) / 60.0)[:, None]
    csv = tmp_path / "bare.csv"
    rows = np.column_stack([WAVELENGTH_NM, bare])
    np.savetxt(csv, rows, delimiter=",", fmt="%.8g", header="wavelength_nm,r,g,b", comments="")
    result = run("camera", "import", csv, "-o", tmp_path / "bare.json")
    assert "camera-unlike-prior" in result.stdout
    assert "Check the table: wavelengths in nm" in result.stdout
    assert "corners" not in result.stdout


def test_clipped_patches_keep_their_numbers(files):
    shot = photograph_chart(default_camera(), np.random.default_rng(3), ChartStand(), brightest=1.25)
    write_dng(shot, files / "bright.dng")
    result = run("camera", "fit", files / "bright.dng", "-o", files / "bright.json", "--json")
    told = json.loads(result.stdout)["obtained"]
    assert 19 in told["patches_left_out"]
    assert told["stops_over"] == 0.5
    assert (
        "0.5 stops less exposure"
        in run("camera", "fit", files / "bright.dng", "-o", files / "bright.json").stdout
    )
    assert sorted([*map(int, told["residuals"]), *told["patches_left_out"]]) == list(range(1, 25))


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ("jpeg", "was developed by the camera, and known lights calibrate raw values"),
        (
            "camera",
            "the camera is Invented Another, and that of the chart chart.dng is Invented Scene Camera 1",
        ),
        ("black", "the black level is taken off, and that of the chart chart.dng is left in"),
        ("matrix", "the colour matrix is"),
    ],
)
def test_known_lights_of_another_camera_or_treatment_are_refused(files, tmp_path, change, what):
    camera = {
        "camera": replace(default_camera(), name="Another"),
        "black": replace(default_camera(), black=0),
        "matrix": behind(YELLOW),
    }.get(change, default_camera())
    path = tmp_path / ("lights.jpg" if change == "jpeg" else "lights.dng")
    lights_photo(path, camera, write_jpeg if change == "jpeg" else write_dng)
    result = run(
        "camera", "fit", files / "chart.dng", "--known-lights", path, "--known", path.with_suffix(".toml"),
        "-o", tmp_path / "camera.json",
    )  # fmt: skip
    assert result.exit_code == 1
    assert result.stderr.startswith(f"Error: {path}: ")
    assert what in result.stderr
    assert result.stderr.count("\n") == 1
    assert not (tmp_path / "camera.json").exists()


def test_a_fit_that_does_not_settle_is_refused(files, tmp_path, monkeypatch):
    monkeypatch.setattr("glowkin.camera.calibrate._MOST_STEPS", 2)
    result = run("camera", "fit", files / "chart.dng", "-o", tmp_path / "camera.json")
    assert result.exit_code == 1
    assert "chart.dng: the fit of the camera did not settle" in result.stderr
    assert not (tmp_path / "camera.json").exists()
