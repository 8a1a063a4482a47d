"""Camera files and measured sensitivities, round trips and wrong input."""

from __future__ import annotations

import json

import numpy as np
import pytest

from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera.camera_file import UNLIKE, CameraFile, unlikeness
from glowkin.camera.emission import Camera, camera_of
from glowkin.camera.filter import Filter, read_filter
from glowkin.camera.grid import WAVELENGTH_NM, observer
from glowkin.camera.sensitivities import camera_prior
from glowkin.camera.sensitivity_file import read_sensitivities
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.light.decode import open_photo
from glowkin.recipes import import_camera
from glowkin.scene.cameras import LUTHER, default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.spectra import WAVELENGTH_NM as SCENE_NM
from glowkin.scene.spectra import band, emitters
from glowkin.scene.stage import plain_scene

NO_NOISE = np.zeros((1, 3, 3))


def csv_of(path, sensitivities, nm=SCENE_NM):
    rows = (f"{w:g},{r:.8g},{g:.8g},{b:.8g}" for w, (r, g, b) in zip(nm, sensitivities, strict=True))
    path.write_text("wavelength_nm,r,g,b\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def camera_csv(tmp_path):
    return csv_of(tmp_path / "camera.csv", default_camera().sensitivities)


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shots")
    scene = plain_scene((120, 80), [emitters()["green"]])
    shot = photograph(scene, default_camera(), np.random.default_rng(1), brightest=0.5)
    return open_photo(write_dng(shot, folder / "a.dng")), open_photo(write_jpeg(shot, folder / "a.jpg"))


def test_a_camera_file_comes_back_as_it_was(camera_csv, tmp_path):
    before = Camera.from_file(read_sensitivities(camera_csv))
    before.save(tmp_path / "camera.json")
    after = Camera.load(tmp_path / "camera.json")
    rgb = default_camera().response(band(560, 80))[None]
    a, b = (camera.infer(rgb, NO_NOISE).uncertain(0) for camera in (before, after))
    assert after.basis == "sensitivities"
    assert b.value == pytest.approx(a.value, abs=1e-4)
    assert b.covariance == pytest.approx(a.covariance, rel=0.05)


# The Luther condition: channels that are mixtures of the CIE 1931 functions tell any colour exactly.
def test_sensitivities_of_an_observer_tell_the_observers_colour(tmp_path):
    nm, spectrum = WAVELENGTH_NM, emitters()["terbium"][20:421:2]
    camera = Camera.from_sensitivities(nm, observer(2) @ LUTHER.T, relative_sd=0.0)
    found = camera.infer((spectrum @ observer(2) @ LUTHER.T)[None], NO_NOISE).uv_prime[0]
    assert found == pytest.approx(XYZ_to_uv_prime(spectrum @ observer(2)), abs=5e-4)


def test_the_academys_layout_is_read(tmp_path):
    nm = np.arange(380, 781, 5.0)
    S = default_camera().sensitivities[np.searchsorted(SCENE_NM, nm)]
    row = {
        "header": {"manufacturer": "Invented", "model": "One"},
        "spectral_data": {
            "units": "relative",
            "data": {"main": {f"{w:g}": s for w, s in zip(nm, S.tolist(), strict=True)}},
        },
    }
    path = tmp_path / "one.json"
    path.write_text(json.dumps(row), encoding="utf-8")
    file = read_sensitivities(path)
    assert file.name == "Invented One"
    expected = S[:, 1] / S[:, 1].sum()
    assert np.interp(nm, WAVELENGTH_NM, file.sensitivities.mean[1]) * 2.5 == pytest.approx(expected, abs=2e-4)


def test_cameras_of_the_prior_are_like_it_and_a_bare_sensor_is_not(shared_data):
    for file in sorted((shared_data / "cameras").glob("*.json"))[::4]:
        assert unlikeness(read_sensitivities(file).sensitivities.mean) < UNLIKE
    bare = camera_prior().mean * np.exp((WAVELENGTH_NM - 550.0) / 60.0)
    assert unlikeness(bare) > UNLIKE


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("wavelength_nm,r,g,b\n500,1,1,1\n", "must reach from 430 to 650"),
        ("wavelength_nm,r,g,b\n500,1,1\n510,x,1,1\n", "no sensitivities|line"),
        ("", "no sensitivities"),
        (
            "r\n500,1,1,1\nx,1,1,1\n510,nan,1,1\n",
            "line 3, 'x,1,1,1', is not wavelength_nm,r,g,b; line 4, .* holds",
        ),
        ("\n".join(f"{w},0.5,nan,0.5" for w in range(380, 781, 10)), "no numbers"),
        ("\n".join(f"{w},0.5,-0.5,0.5" for w in range(380, 781, 10)), "negative"),
        ("\n".join(f"{w},0.5,0.5,0.5" for w in range(380, 781, 50)), "must reach|gaps"),
        ("\n".join(f"{w},0.5,0.5,0.5" for w in [*range(380, 781, 10), 500]), "repeat"),
        ("\n".join(f"{w},0.5,0.5,0.5" for w in range(380, 781, 10)), "red, green and blue"),
        ("\n".join(f"{w / 1000},0.5,0.5,0.5" for w in range(380, 781, 10)), "wavelengths in nm"),
        ("\n".join(f"{w},0.5,1e308,0.5" for w in range(380, 781, 10)), "line 1.* holds values .* too large"),
        (
            "380," + "1" * 140_000 + ",1,1\n",
            "line 1, '380,1.*1', is too long for a line of a table; take it out",
        ),
    ],
)
def test_what_is_no_table_of_sensitivities_is_said(tmp_path, text, what):
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CannotReadError, match=what):
        read_sensitivities(path)


@pytest.mark.parametrize(("mark", "comma"), [(";", ","), ("\t", ","), ("; ", "."), ("\t", "."), (" ", ".")])
def test_a_table_is_read_as_spreadsheets_of_any_country_save_it(tmp_path, camera_csv, mark, comma):
    before = read_sensitivities(camera_csv).sensitivities.mean
    names, *rows = camera_csv.read_text("utf-8").splitlines()
    rows = [row.replace(",", mark).replace(".", comma) for row in rows]
    path = tmp_path / "saved.csv"
    path.write_text("\n".join([names.replace(",", mark), *rows]), encoding="utf-8-sig")
    assert (read_sensitivities(path).sensitivities.mean == before).all()


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (lambda row: row.replace(".", ","), "two ways, .* commas in numbers; save it with semicolons"),
        (lambda row: row.replace(",", ";") if row[0] in "46" else row, "line .*is not wavelength_nm,r,g,b"),
        (lambda row: row.replace(",", ";").replace(";0.", ";1.000,"), "line .*is not wavelength_nm,r,g,b"),
    ],
)
def test_a_table_that_may_be_read_in_two_ways_is_not_guessed_at(tmp_path, camera_csv, change, what):
    path = tmp_path / "mixed.csv"
    path.write_text("\n".join(map(change, camera_csv.read_text("utf-8").splitlines()[1:])), "utf-8")
    with pytest.raises(CannotReadError, match=what) as refused:
        read_sensitivities(path)
    assert "\n" not in str(refused.value)


def test_a_table_of_whole_numbers_may_have_further_columns(tmp_path, camera_csv):
    """A further column, of the dark level, is not read: the line of names tells that it is one."""
    table = np.loadtxt(camera_csv, delimiter=",", skiprows=1)
    whole = np.column_stack([table[:, :1], np.round(1e6 * table[:, 1:])]).astype(int)
    paths = tmp_path / "plain.csv", tmp_path / "further.csv"
    for path, more in zip(paths, ("", ",3"), strict=True):
        names = "wavelength_nm,r,g,b" + (",dark" if more else "")
        rows = (",".join(map(str, row)) + more for row in whole)
        path.write_text("\n".join([names, *rows]), "utf-8")
    plain, further = (read_sensitivities(path).sensitivities.mean for path in paths)
    assert (plain == further).all()


@pytest.mark.parametrize("order", [[2, 1, 0], [1, 0, 2], [0, 2, 1]])
def test_columns_in_another_order_are_no_camera(tmp_path, camera_csv, order):
    table = np.loadtxt(camera_csv, delimiter=",", skiprows=1)
    rows = (f"{row[0]:g}," + ",".join(f"{v:.6g}" for v in row[1:][order]) for row in table)
    path = tmp_path / "swapped.csv"
    path.write_text("wavelength_nm,r,g,b\n" + "\n".join(rows), encoding="utf-8")
    with pytest.raises(CannotReadError, match="put them in the order wavelength_nm,r,g,b"):
        read_sensitivities(path)


def spoiled(row, key, value):
    """The camera file's row with one value changed, by a key such as ``mean.r``."""
    *inside, last = key.split(".")
    part = row
    for name in inside:
        part = part[name]
    part[last] = value(part.get(last)) if callable(value) else value
    return row


@pytest.mark.parametrize(
    ("key", "value", "what"),
    [
        ("schema", "other", "no camera file"),
        ("basis", "guess", "basis: is 'guess', must be 'sensitivities', 'chart' or 'chart-and-lights'"),
        ("mean", [1.0, 2.0], "mean: must be an object of named values"),
        ("mean.r", [1.0], r"mean\.r: must hold as many values as there are wavelengths"),
        ("mean.g", lambda v: [0.0] * len(v), r"mean\.g: is zero at all wavelengths"),
        ("mean.g", lambda v: [-0.1, *v[1:]], r"mean\.g\[1\]: must be greater than or equal to 0"),
        ("mean.b", lambda v: [*v[:7], float("nan"), *v[8:]], r"mean\.b\[8\]: must be a number"),
        ("mean.x", [1.0], r"mean\.x: there is no such key"),
        ("obtained", ["chart.dng"], "obtained: must be an object of named values"),
        ("loadings", "none", "loadings: must be a list"),
        ("loadings", lambda v: [v[0][:2]], "loadings: each must hold the three channels"),
        ("loadings", lambda v: [[[1e999, *row[1:]] for row in v[0]]], "loadings.*not infinite"),
        ("wavelength_nm", lambda v: v[::-1], "wavelength_nm: must rise"),
        ("wavelength_nm", lambda v: [v[0], *v[:-1]], "wavelength_nm: must rise"),
        ("wavelength_nm", lambda v: [w + 100 for w in v], "wavelength_nm: must reach from 430 to 650"),
        ("unlike_prior", "false", "unlike_prior: must be true or false"),
        ("make", 7, "make: must be text"),
        ("model", None, "model: must be text"),
        ("filter", True, "filter: must be text"),
        ("filter_transmittance", [0.5], "filter_transmittance: must hold as many values"),
        ("flair", 0.01, "flair: there is no such key"),
    ],
)
def test_a_camera_file_that_is_spoiled_is_said_by_its_key(camera_csv, tmp_path, key, value, what):
    path = tmp_path / "camera.json"
    read_sensitivities(camera_csv).save(path)
    row = spoiled(json.loads(path.read_text("utf-8")), key, value)
    path.write_text(json.dumps(row), encoding="utf-8")
    with pytest.raises(CannotReadError, match=what) as refused:
        CameraFile.load(path)
    assert str(path) in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_camera_file_that_lacks_a_key_names_it(camera_csv, tmp_path):
    path = tmp_path / "camera.json"
    read_sensitivities(camera_csv).save(path)
    row = json.loads(path.read_text("utf-8"))
    del row["loadings"], row["make"]
    path.write_text(json.dumps(row), encoding="utf-8")
    with pytest.raises(CannotReadError, match="make: is missing; loadings: is missing; make the file anew"):
        CameraFile.load(path)


def test_a_camera_file_on_another_wavelength_scale_is_the_same_camera(camera_csv, tmp_path):
    path = tmp_path / "camera.json"
    before = read_sensitivities(camera_csv)
    before.save(path)
    row = json.loads(path.read_text("utf-8"))
    row["wavelength_nm"] = row["wavelength_nm"][::2]
    row["mean"] = {c: v[::2] for c, v in row["mean"].items()}
    row["loadings"] = [[v[::2] for v in part] for part in row["loadings"]]
    path.write_text(json.dumps(row), encoding="utf-8")
    mean = CameraFile.load(path).sensitivities.mean
    assert mean == pytest.approx(before.sensitivities.mean, abs=0.01 * before.sensitivities.mean.max())


@pytest.mark.parametrize(
    ("name", "text"), [("none.json", None), ("text.json", "hello"), ("list.json", "[1]")]
)
def test_what_is_no_camera_file_at_all_is_said(tmp_path, name, text):
    if text is not None:
        (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(CannotReadError, match=name):
        CameraFile.load(tmp_path / name)


def test_another_camera_is_flagged(camera_csv, shots):
    file = read_sensitivities(camera_csv)
    mine = CameraFile(file.sensitivities, "sensitivities", "Invented", "Scene Camera 1")
    other = CameraFile(file.sensitivities, "sensitivities", "Invented", "Another")
    assert camera_of(shots[0], mine)[1] == ()
    assert camera_of(shots[0], other)[1] == ("other-camera",)


HALF = Filter("half", np.linspace(0.2, 0.8, WAVELENGTH_NM.size))
RENAMED = Filter("half, measured again", HALF.transmittance + 0.005)
OTHER = Filter("half", np.linspace(0.8, 0.2, WAVELENGTH_NM.size))
NAMED = Filter("Half")


@pytest.mark.parametrize(
    ("made_behind", "behind", "flags", "counted"),
    [
        (None, None, (), False),
        (None, HALF, (), True),
        (HALF, HALF, (), False),
        (HALF, RENAMED, (), False),  # by what it lets through, not by its name
        (HALF, NAMED, (), False),
        (NAMED, HALF, (), False),
        (HALF, OTHER, ("other-filter",), False),  # the same name, another filter
        (HALF, None, ("other-filter",), False),
        (NAMED, None, ("other-filter",), False),
        (NAMED, Filter("yellow"), ("other-filter",), False),
    ],
)
def test_a_filter_is_counted_once_and_another_flagged(
    camera_csv, shots, tmp_path, made_behind, behind, flags, counted
):
    known = read_sensitivities(camera_csv).sensitivities
    CameraFile(known, "sensitivities", "Invented", filter=made_behind).save(tmp_path / "camera.json")
    camera, raised = camera_of(shots[0], CameraFile.load(tmp_path / "camera.json"), behind)
    assert raised == flags
    expected = known.mean * HALF.transmittance if counted else known.mean
    assert camera.sensitivities.mean == pytest.approx(expected, abs=1e-6)


def test_a_filter_of_which_only_the_name_is_known_cannot_be_counted(camera_csv, shots):
    for file in (None, read_sensitivities(camera_csv)):
        with pytest.raises(WrongUseError, match="--filter Half: what it lets through is not known; give"):
            camera_of(shots[0], file, NAMED)


def test_a_table_that_resembles_no_camera_is_flagged_and_widened(camera_csv, tmp_path):
    """A response that rises towards the red, as of a sensor without its infrared filter."""
    right = import_camera(camera_csv)
    rising = np.exp((SCENE_NM - 550.0) / 60.0)[:, None]
    wrong = import_camera(csv_of(tmp_path / "wrong.csv", default_camera().sensitivities * rising))
    assert not right.unlike
    assert wrong.unlike
    spread = [np.sqrt(np.square(f.sensitivities.loadings).sum(axis=(1, 2))) for f in (right, wrong)]
    peaks = [f.sensitivities.mean.max(axis=1) for f in (right, wrong)]
    assert spread[1][0].max() / peaks[1][0] > 2 * spread[0][1].max() / peaks[0][1]


def test_a_camera_file_is_of_no_use_for_a_developed_file(camera_csv, shots):
    with pytest.raises(CannotMeasureError, match="measure the raw file, or leave out --camera"):
        camera_of(shots[1], read_sensitivities(camera_csv))


def test_a_camera_known_by_its_photograph_only_is_not_kept(shots, tmp_path):
    with pytest.raises(WrongUseError, match="nothing is known"):
        camera_of(shots[0])[0].save(tmp_path / "camera.json")


def test_behind_a_filter_the_filtered_light_tells_the_colour_before_it(camera_csv, tmp_path, oracle_XYZ):
    path = tmp_path / "long-pass.csv"
    through = 0.25 + 0.75 / (1.0 + np.exp(-(SCENE_NM - 560.0) / 15.0))
    lines = (f"{w:g},{t:.5f}" for w, t in zip(SCENE_NM, through, strict=True))
    path.write_text("wavelength_nm,transmittance\n" + "\n".join(lines), encoding="utf-8")
    spectrum = band(560, 80)
    rgb = default_camera().response(spectrum * through)[None]
    with_it = Camera.from_file(read_sensitivities(camera_csv), read_filter(path))
    found = with_it.infer(rgb, NO_NOISE).uncertain(0)
    error = XYZ_to_uv_prime(oracle_XYZ(spectrum)) - found.value
    assert error @ np.linalg.solve(found.covariance, error) <= 1.5 * CHI2_95_2D
    without = Camera.from_file(read_sensitivities(camera_csv)).infer(rgb, NO_NOISE).uv_prime[0]
    assert np.linalg.norm(without - XYZ_to_uv_prime(oracle_XYZ(spectrum))) > 2 * np.linalg.norm(error)


def test_what_is_no_transmittance_is_said(tmp_path):
    path = tmp_path / "filter.csv"
    path.write_text("\n".join(f"{w},-0.5" for w in range(400, 700, 20)), encoding="utf-8")
    with pytest.raises(CannotReadError, match=r"at 400 nm; 420 nm; 440 nm; 460 nm; and 11 more; give all"):
        read_filter(path)
    path.write_text("\n".join(f"{w},{9 if w == 500 else 0.9}" for w in range(400, 700, 20)), encoding="utf-8")
    with pytest.raises(CannotReadError, match="a single value above 2, at 500 nm; correct it, or, if"):
        read_filter(path)


@pytest.mark.parametrize("name", ["T_percent", "T (%)", "T / per cent"])
def test_a_filter_whose_names_tell_per_cent_is_in_per_cent(tmp_path, name):
    """A band-pass filter, of which one wavelength only lies in the band."""
    rows = [f"{w},{85 if w == 450 else 0.1}" for w in range(400, 700, 10)]
    path = tmp_path / "band-pass.csv"
    path.write_text("\n".join([f"nm,{name}", *rows]), "utf-8")
    through = read_filter(path).transmittance
    assert through.max() == pytest.approx(0.85, abs=0.01)
    assert through[-1] == pytest.approx(0.001)
    path.write_text("\n".join(["nm,T", *rows]), "utf-8")
    with pytest.raises(
        CannotReadError, match=r"at 450 nm; correct it, or, .* name its column T_percent or list"
    ):
        read_filter(path)


def test_values_far_too_large_are_told_in_json_too(tmp_path):
    main = {f"{w}": [0.5, 1e308, 0.5] for w in range(380, 781, 10)}
    path = tmp_path / "camera.json"
    path.write_text(json.dumps({"header": {}, "spectral_data": {"data": {"main": main}}}), "utf-8")
    with pytest.raises(
        CannotReadError, match=r"camera\.json: holds values that are far too large; correct them"
    ):
        read_sensitivities(path)
