"""A few of the kills of ``benchmarks/kills.py``, and that its checks see what they look for."""

from __future__ import annotations

import importlib.util
import os
import sqlite3
import sys

import pytest

pytestmark = pytest.mark.skipif(os.name == "nt", reason="kill -9 is of POSIX")


@pytest.fixture(scope="module")
def kills(root):
    spec = importlib.util.spec_from_file_location("kills", root / "benchmarks" / "kills.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["kills"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def test_nothing_is_lost_by_kills(kills, capsys):
    assert kills.main(["--kills", "6", "--seed", "3"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("6 killed")
    assert "wrong: 0" in said
    assert int(said.split(" looks by readers")[0].rsplit(" ", 1)[1]) > 6


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        ("DELETE FROM records", "measurement 1 is half"),
        ("DELETE FROM samples WHERE place = 1", "measurement 1 is half"),
        ("UPDATE measurements SET shown = 0, current = 0", "a result that stood is gone"),
        ("UPDATE names SET photographs = 7", "wrong count"),
        ("UPDATE measurements SET settings_id = 99", "a reference to nothing"),
        ("INSERT INTO awaited VALUES (1, '', NULL)", "still awaited after the next run"),
    ],
)
def test_the_checks_see_harm(kills, tmp_path, study, run, photos, harm, said):
    assert run("add", study, photos / "09.jpg").exit_code == 0
    assert kills.unsound(study, whole=True) == []
    with sqlite3.connect(study / "ledger.sqlite") as connection:
        connection.execute(harm)
    connection.close()
    assert any(said in wrong for wrong in kills.unsound(study, whole=True))


def test_a_lost_row_is_seen(kills, tmp_path):
    bench = kills.Bench(tmp_path, 1)
    before = kills.rows(bench.study)
    bench.check(before, 0, whole=False)
    assert bench.tally.wrong == []
    bench.check({**before, "files": {1: "a row that was there"}}, 2, whole=False)
    assert bench.tally.wrong == ["files: 1 rows lost or changed", "2 were said to be kept, 0 are there"]
