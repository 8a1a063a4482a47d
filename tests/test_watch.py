"""``glowkin track FOLDER --watch`` as it is used: a process of its own, files that come, and a signal."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.stage import two_reds_and_green

pytestmark = pytest.mark.skipif(os.name == "nt", reason="its signals are those of POSIX")
PATIENCE_S = 60.0
LATENCY_S = 5.0


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """Raw photographs of three hours, and the JPEG of the first."""
    folder = tmp_path_factory.mktemp("shots")
    scene, rng = two_reds_and_green((450, 300)), np.random.default_rng(1)
    shot = photograph(scene, default_camera(), rng)
    for hour in (9, 12, 15):
        write_dng(replace(shot, exposure=replace(shot.exposure, taken_at=_at(hour))), folder / f"{hour}.dng")
    write_jpeg(shot, folder / "9.jpg")
    return folder


def _at(hour):
    return Exposure().taken_at.replace(hour=hour)


class Watching:
    """The command as a process; its standard error line by line as it comes."""

    def __init__(self, folder, *options, stderr=None):
        command = [sys.executable, "-m", "glowkin", "track", str(folder), "--watch", *map(str, options)]
        own_width = {name: told for name, told in os.environ.items() if name != "COLUMNS"}
        self.process = subprocess.Popen(  # noqa: S603
            command, stdout=subprocess.PIPE, stderr=stderr or subprocess.PIPE, text=True, env=own_width
        )
        self.lines = []
        self.reader = None if stderr else threading.Thread(target=self._read, daemon=True)
        if self.reader:
            self.reader.start()

    def _read(self):
        for line in self.process.stderr:
            self.lines.append(line.rstrip("\n"))

    def wait_for(self, words):
        """Seconds until a line holds these words."""
        began = time.monotonic()
        while not any(words in line for line in self.lines):
            assert time.monotonic() - began < PATIENCE_S, self.lines
            assert self.process.poll() is None, self.lines
            time.sleep(0.02)
        return time.monotonic() - began

    def close(self):
        self.process.kill()
        self.process.wait()
        if self.reader:
            self.reader.join()
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe:
                pipe.close()

    def end(self, number):
        """Exit status and standard output after a signal."""
        self.process.send_signal(number)
        out = self.process.stdout.read()
        return self.process.wait(PATIENCE_S), out


@pytest.fixture
def start(tmp_path):
    begun = []

    def start(*options, **more):
        folder = tmp_path / "in"
        folder.mkdir(exist_ok=True)
        begun.append(Watching(folder, *options, **more))
        return folder, begun[-1]

    yield start
    for watching in begun:
        watching.close()


def test_what_comes_is_measured_once_and_ctrl_c_leaves_one_document(shots, start, tmp_path):
    folder, watching = start("--control", "S3", "--json", "--out", tmp_path / "out")
    watching.wait_for("Watching")
    shutil.copy(shots / "9.dng", folder / "a.dng")
    watching.wait_for("1 a.dng: 3 samples, taken 2026-05-04 09:00")

    whole = (shots / "12.dng").read_bytes()
    with (folder / "b.dng").open("wb") as slow:
        slow.write(whole[: len(whole) // 2])
        slow.flush()
        watching.wait_for("b.dng: a broken raw file")
        slow.write(whole[len(whole) // 2 :])
    assert watching.wait_for("2 b.dng: 3 samples, taken 2026-05-04 12:00") < LATENCY_S

    (folder / "a.dng").write_bytes((shots / "9.dng").read_bytes())  # written anew as it was
    shutil.copy(shots / "12.dng", folder / "copy.dng")
    shutil.copy(shots / "9.jpg", folder / "a.jpg")  # the JPEG of a raw file
    (folder / "a.xmp").write_text("<x/>")
    shutil.copy(shots / "15.dng", folder / "c.dng.part")
    watching.wait_for("copy.dng: the same as b.dng, not measured again")
    (folder / "c.dng.part").rename(folder / "c.dng")
    assert watching.wait_for("3 c.dng: 3 samples, taken 2026-05-04 15:00") < LATENCY_S

    status, out = watching.end(signal.SIGINT)
    assert status == 0, watching.lines
    found = json.loads(out)
    assert (found["schema"], found["errors"]) == ("glowkin.track.v1", [])
    assert [[p["time_s"] / 3600 for p in s["points"]] for s in found["samples"]] == [[0.0, 3.0, 6.0]] * 3
    assert [p["path"] for p in found["samples"][0]["points"]] == [str(folder / f"{n}.dng") for n in "abc"]
    taken = [line for line in watching.lines if " samples, taken " in line]
    assert len(taken) == 3
    written = {
        name: json.loads((tmp_path / "out" / name).read_text()) for name in ("measure.json", "track.json")
    }
    assert [p["path"] for p in written["measure.json"]["photos"]] == ["a.dng", "b.dng", "c.dng"]
    assert written["track.json"]["samples"][0]["verdict"] == found["samples"][0]["verdict"]
    assert (tmp_path / "out" / "report.html").stat().st_size > 10_000


def test_on_a_terminal_lines_and_the_state_of_the_samples_fit_80_columns(shots, start, tmp_path):
    pty, termios = pytest.importorskip("pty"), pytest.importorskip("termios")
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    (tmp_path / "in").mkdir()
    for i, hour in enumerate((9, 12)):
        shutil.copy(shots / f"{hour}.dng", tmp_path / "in" / f"{'a long name ' * 8}{i}.dng")
    _, watching = start("--control", "S3", stderr=theirs)
    os.close(theirs)
    shown = b""
    while b"Half-time" not in shown:
        shown += os.read(ours, 10_000)
    status, out = watching.end(signal.SIGTERM)
    os.close(ours)
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", shown.decode())
    lines = [line.strip("\r") for line in re.split(r"[\r\n]+", plain)]
    assert max(map(len, lines)) <= 80
    assert sum(re.match(r"[12] a long name", line) is not None for line in lines) == 2
    assert any(re.match(r" *Sample +Verdict +Left +Half-time", line) for line in lines)
    assert status == 0
    assert "Change over time" in out


def test_where_nothing_came_a_sentence_says_so(start):
    folder, watching = start("--json")
    watching.wait_for("Watching")
    status, out = watching.end(signal.SIGINT)
    (error,) = json.loads(out)["errors"]
    assert status == 1
    assert error["path"] == str(folder)
    assert "no photograph came while it was watched" in error["message"]


@pytest.mark.parametrize(
    ("paths", "words"),
    [
        (["IN", "IN"], "--watch takes one folder, not 2 paths; name the folder they are in"),
        (["IN/9.dng"], "9.dng is a file; name the folder it comes into"),
        (["IN/none"], "none is not there; name the folder it comes into"),
    ],
)
def test_what_is_no_folder_to_watch_is_refused(shots, paths, words):
    result = CliRunner().invoke(main, ["track", "--watch", *(p.replace("IN", str(shots)) for p in paths)])
    assert result.exit_code == 2
    assert words in re.sub(r"[│\s]+", " ", result.stderr)
