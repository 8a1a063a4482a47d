"""Brackets from file to record: rendered scenes whose answers are known."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

import glowkin
from glowkin.base.errors import CannotMeasureError
from glowkin.base.records import measure_document, photos_from_json
from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import Development, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import metered, photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, row_of_vials, with_luminance

LEVELS = (1.0, 0.05, 0.004)


def dark_vials(levels=LEVELS, size_px=(600, 400)) -> Scene:
    peaks = (520.0, 560.0, 600.0)
    spectra = {f"{p}": with_luminance(band(p, 60.0), v) for p, v in zip(peaks, levels, strict=True)}
    scene = row_of_vials(size_px, 3, 1, spectra)
    return replace(scene, halo=0.0, crosslight=0.0, surroundings_violet=0.0)


def moved(scene, dx, dy):
    return replace(scene, placement=((1.0, 0.0, dx), (0.0, 1.0, dy)))


def bracket(folder, suffix=".dng", scenes=None, step=4.0, count=4, told=True, development=None, **options):
    """Files of a scene, each exposed ``step`` times longer than the one before."""
    scenes = scenes or [dark_vials()] * count
    camera = options.pop("camera", default_camera())
    start = metered(scenes[0], camera, Exposure(**options), 0.5)
    rng, paths, truths = np.random.default_rng(5), [], None
    for k, scene in enumerate(scenes):
        shot = photograph(scene, camera, rng, replace(start, exposure_s=start.exposure_s * step**k))
        truths = truths or shot.truths
        if not told:
            shot = replace(shot, exposure=replace(shot.exposure, exposure_s=0.0, iso=0.0))
        path = folder / f"exposure-{k}{suffix}"
        if suffix == ".dng":
            write_dng(shot, path)
        else:
            write_jpeg(shot, path, development or Development())
        paths.append(path)
    return paths, truths


def within(sample, truth):
    error = np.array([sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime])
    return error @ np.linalg.solve(sample.u_prime_v_prime_covariance, error) <= 5.99


@pytest.mark.parametrize("suffix", [".dng", ".jpg"])
def test_samples_apart_by_250_times_are_all_measured(tmp_path, suffix):
    paths, truths = bracket(tmp_path, suffix)
    photo = glowkin.measure(paths[::-1])
    assert [s.name for s in photo.samples] == ["S1", "S2", "S3"]
    for sample, truth in zip(photo.samples, truths, strict=True):
        assert "clipped" not in sample.flags
        assert "underexposed" not in sample.flags
        assert within(sample, truth)
    if suffix == ".dng":
        alone = glowkin.measure(paths[2])
        assert photo.samples[1].luminance_per_exposure == pytest.approx(
            alone.samples[1].luminance_per_exposure, rel=0.01
        )
    assert photo.path == str(paths[0])
    assert [m.path for m in photo.merged_from] == [str(p) for p in paths]
    ratios = [m.ratio for m in photo.merged_from]
    assert ratios == pytest.approx([1, 4, 16, 64], rel=0.01 if suffix == ".dng" else 0.1)
    assert not {"moved", "bracket-disagrees"} & set(photo.flags)
    (again,) = photos_from_json(json.loads(json.dumps(measure_document([photo], [], ""))))
    assert again == photo


def test_a_camera_that_moves_a_little_is_followed(tmp_path):
    scenes = [moved(dark_vials(), 5.0 * k, -3.0 * k) for k in range(4)]
    paths, _ = bracket(tmp_path, scenes=scenes)
    still, _ = bracket(tmp_path / "..", scenes=scenes[:1] * 4)
    photo, reference = glowkin.measure(paths), glowkin.measure(still)
    assert "moved" in photo.flags
    assert np.array([m.shift_px for m in photo.merged_from]) == pytest.approx(
        np.array([(5.0 * k, -3.0 * k) for k in range(4)]), abs=1.5
    )
    for a, b in zip(photo.samples, reference.samples, strict=True):
        assert (a.u_prime, a.v_prime) == pytest.approx((b.u_prime, b.v_prime), abs=0.002)


def test_exposures_of_two_scenes_are_refused(tmp_path):
    scenes = [dark_vials(), moved(dark_vials(), 70.0, 0.0)]
    paths, _ = bracket(tmp_path, scenes=scenes)
    with pytest.raises(
        CannotMeasureError, match=r"exposure-1\.dng: does not show the same picture as exposure-0"
    ):
        glowkin.measure(paths)


def test_without_metadata_the_ratios_come_from_the_picture(tmp_path, monkeypatch):
    from glowkin.scene import metadata

    plain = metadata.rational
    monkeypatch.setattr(metadata, "rational", lambda v: plain(v) if v else plain(0))
    paths, _ = bracket(tmp_path, told=False)
    photo = glowkin.measure(paths)
    assert photo.exposure_s is None
    assert [m.ratio for m in photo.merged_from] == pytest.approx([1, 4, 16, 64], rel=0.02)


def test_a_camera_that_brightens_on_its_own_is_told(tmp_path):
    """The last exposure was developed twice as bright as its file says."""
    paths, _ = bracket(tmp_path, ".jpg")
    again, _ = bracket(tmp_path / "..", ".jpg", development=Development(brighten=2.0))
    photo = glowkin.measure([*paths[:3], again[3]])
    assert "bracket-disagrees" in photo.flags
    assert photo.merged_from[3].ratio == pytest.approx(128, rel=0.1)


def test_a_tone_curve_is_told_and_each_sample_answered_from_one_exposure(tmp_path):
    levels = (1.0, 0.3, 0.1)
    paths, _ = bracket(
        tmp_path, ".jpg", [dark_vials(levels)] * 4, step=2.0, development=Development(tone=0.7)
    )
    assert "bracket-disagrees" in glowkin.measure(paths).flags


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ("kind", r"the kind of file differs .*rendered, raw.*; give the exposures .* all as raw files"),
        ("size", r"the size differs .*300 x 200, 600 x 400.*; take all exposures of a bracket at one size"),
        ("camera", r"the camera differs .*Other.*; take all exposures of a bracket with one camera"),
        ("twice", "the same photograph as exposure-0.dng; give each exposure once"),
    ],
)
def test_what_is_no_bracket_is_refused_with_the_mend(tmp_path, change, sentence):
    paths, _ = bracket(tmp_path, count=1)
    (tmp_path / "b").mkdir()
    if change == "kind":
        others, _ = bracket(tmp_path / "b", ".jpg", count=1)
    elif change == "size":
        others, _ = bracket(tmp_path / "b", scenes=[dark_vials(size_px=(300, 200))])
    elif change == "camera":
        others, _ = bracket(tmp_path / "b", count=1, camera=default_camera().with_(name="Other"))
    else:
        others = [tmp_path / "b" / "copy.dng"]
        others[0].write_bytes(paths[0].read_bytes())
    with pytest.raises(CannotMeasureError, match=sentence):
        glowkin.measure([*paths, *others])


def test_a_fixed_and_an_automatic_white_balance_do_not_mix(tmp_path):
    paths, _ = bracket(tmp_path, ".jpg", count=1)
    (tmp_path / "b").mkdir()
    others, _ = bracket(tmp_path / "b", ".jpg", count=1, automatic_white_balance=True)
    with pytest.raises(
        CannotMeasureError, match=r"the white balance differs .*fix white balance to daylight"
    ):
        glowkin.measure([*paths, *others])


def test_one_exposure_is_a_photograph_as_any(tmp_path):
    (path,), _ = bracket(tmp_path, count=1)
    assert glowkin.measure([path]) == glowkin.measure(path)
    assert glowkin.measure(path).merged_from == ()


def test_the_command_line_takes_all_photographs_as_one_scene(tmp_path):
    paths, _ = bracket(tmp_path)
    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["measure", "--bracket", "--json", "--out", str(out), *map(str, paths)])
    assert done.exit_code == 0
    (photo,) = json.loads(done.stdout)["photos"]
    assert len(photo["merged_from"]) == 4
    written = json.loads((out / "measure.json").read_text())["photos"][0]["merged_from"]
    assert [m["path"] for m in written] == [p.name for p in paths]


def test_an_exposure_that_cannot_be_read_is_named(tmp_path):
    paths, _ = bracket(tmp_path, count=2)
    missing = tmp_path / "none.dng"
    done = CliRunner().invoke(main, ["measure", "--bracket", "--json", str(paths[0]), str(missing)])
    assert done.exit_code == 1
    assert f"{missing}: no such file" in done.stderr


def test_an_error_names_the_exposure_it_is_about(tmp_path):
    paths, _ = bracket(tmp_path, scenes=[dark_vials(), moved(dark_vials(), 70.0, 0.0)])
    result = CliRunner().invoke(main, ["measure", "--bracket", *map(str, paths), "--json"])
    assert result.exit_code == 1
    (error,) = json.loads(result.stdout)["errors"]
    assert error["path"] == str(paths[1])
    assert error["message"].startswith(f"{paths[1]}: ")
