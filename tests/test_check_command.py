"""The check command: its document, its exit status, its words on the terminal."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

import glowkin
from glowkin.cli import main
from glowkin.scene.dng import write_dng
from glowkin.scene.faults import competent, with_fault


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """A good photograph, one in which nothing glows, and one overexposed in a folder of its own."""
    folder = tmp_path_factory.mktemp("shots")
    rng = np.random.default_rng(3)
    good = competent(rng, 3, (450, 300))
    (folder / "clipped").mkdir()
    write_dng(good.shoot(rng), folder / "good.dng")
    write_dng(with_fault(good, "nothing glows", "weak", rng).shoot(rng), folder / "dark.dng")
    write_dng(with_fault(good, "overexposed", "medium", rng).shoot(rng), folder / "clipped" / "a.dng")
    return folder


def run(*arguments):
    return CliRunner().invoke(main, ["check", *(str(a) for a in arguments)], env={"COLUMNS": "80"})


def test_a_verdict_is_an_answer_also_when_it_is_no(shots):
    result = run(shots / "dark.dng", "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 0
    assert document["schema"] == "glowkin.check.v1"
    assert document["program"].startswith("glowkin ")
    assert [(c["verdict"], c["samples"]) for c in document["checks"]] == [("cannot be measured", 0)]
    assert document["checks"][0]["headroom_stops"] == [None, None, None]


def test_a_file_that_cannot_be_read_is_an_error_beside_the_others(shots):
    result = run(shots / "good.dng", shots / "missing.dng", "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 1
    assert [c["verdict"] for c in document["checks"]] == ["good"]
    assert [e["path"] for e in document["errors"]] == [str(shots / "missing.dng")]
    assert result.stderr.count("no such file") == 1


def test_a_folder_is_the_photographs_in_it(shots):
    result = run(shots / "clipped")
    assert result.exit_code == 0
    words = " ".join(result.stdout.split())
    assert "a.dng: usable with care" in words
    assert "stops less exposure: the" in words
    assert "headroom in stops: red" in words


def test_lines_fit_a_terminal_of_80_columns(shots):
    lines = run(shots / "clipped", shots / "dark.dng").stdout.splitlines()
    assert max(len(line) for line in lines if str(shots) not in line) <= 80


def test_names_are_used_and_must_fit(shots):
    result = run(shots / "clipped", "--names", "left,middle,right")
    assert any(
        f"sample {name} is clipped" in " ".join(result.stdout.split()) for name in ("left", "middle", "right")
    )
    assert run(shots / "clipped", "--names", "left").exit_code == 1


def test_options_it_has_no_use_for_are_refused(shots):
    assert run(shots / "good.dng", "--observer", "10").exit_code == 2


def test_from_python_one_photograph_gives_one_check_and_several_a_list(shots):
    assert glowkin.check(shots / "good.dng").verdict == "good"
    checks = glowkin.check([shots / "good.dng", shots / "clipped" / "a.dng"])
    assert [c.verdict for c in checks] == ["good", "usable with care"]
    assert "exposure-changed" in {*(a.cause for a in checks[1].advice), *checks[1].also}


def test_an_interrupt_keeps_the_checks_that_are_done(shots, monkeypatch):
    from glowkin import session

    real = session.map_photos

    def interrupted(work, paths, jobs):
        yield next(real(work, paths[:1], jobs))
        raise KeyboardInterrupt

    monkeypatch.setattr(session, "map_photos", interrupted)
    result = run(shots / "good.dng", shots / "dark.dng", "--json")
    assert result.exit_code == 130
    assert [c["path"] for c in json.loads(result.stdout)["checks"]] == [str(shots / "good.dng")]
    assert "Interrupted" in result.stderr
