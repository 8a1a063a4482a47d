"""Foreign bytes are decoded in processes of their own: what happens to these costs one photograph."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import uuid
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import pytest

from deeds import deed, own_number
from glowkin.base.errors import GlowkinError, WrongUseError
from glowkin.light.decode import open_photo
from glowkin.run import WorkLimits, pool
from glowkin.run.many import map_photos, portable

LIMITS = WorkLimits(seconds=0.7, bytes=1 << 30)
BAD = {
    "unreadable": "unreadable.jpg: bad",
    "abort": "abort.jpg: is such that its decoder crashed; copy it from the camera again",
    "segfault": "segfault.jpg: is such that its decoder crashed",
    "killed": "killed.jpg: was stopped by the system, which ran out of memory; crop it, or",
    "sleep": "sleep.jpg: took longer than 0.7 s and was given up; crop it",
    "mistaken": "mistaken.jpg: could not be measured (IndexError: tuple index out of range)",
    "unmeasurable": "unmeasurable.jpg: bad",
}
if sys.platform == "linux":
    BAD["allocate"] = "allocate.jpg: does not fit in the memory; crop it or export it smaller"


def paths(*stems):
    return [Path(f"{stem}.jpg") for stem in stems]


@pytest.mark.parametrize("jobs", [1, 3])
def test_whatever_becomes_of_one_the_others_go_on_in_order(jobs):
    stems = [word for i, bad in enumerate(BAD) for word in (f"good{i}", bad)]
    outcomes = list(map_photos(deed, paths(*stems), jobs, LIMITS))
    assert [o.path.stem for o in outcomes] == stems
    for outcome in outcomes:
        if outcome.path.stem in BAD:
            assert outcome.message.startswith(BAD[outcome.path.stem])
            assert "\n" not in outcome.message
        else:
            assert outcome.result == outcome.path.stem


def test_wrong_use_ends_the_map():
    with pytest.raises(WrongUseError, match="--white-point nonsense"):
        list(map_photos(deed, paths("a", "misused", "sleep"), 2, LIMITS))


def test_one_is_done_in_another_process_and_what_cannot_be_imported_there_in_this():
    elsewhere = {o.result for o in map_photos(own_number, paths("a", "b"))}
    assert os.getpid() not in elsewhere
    assert [o.result for o in map_photos(lambda _: os.getpid(), paths("a", "b"))] == [os.getpid()] * 2
    assert portable(deed)
    assert portable(partial(open_photo, limits=None))
    assert portable(lambda path: path) is None


def test_work_of_the_started_script_is_done_in_its_own_process(tmp_path):
    # a worker cannot import the script, and running it again would do everything twice
    script = tmp_path / "script.py"
    script.write_text(
        "import os, sys, glowkin.run\nfrom pathlib import Path\n"
        "def here(path):\n    return os.getpid()\n"
        "print([o.result == os.getpid() for o in glowkin.run.map(here, [Path('a'), Path('b')])])\n"
    )
    done = subprocess.run([sys.executable, script], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout.strip() == "[True, True]"


def test_the_chatter_of_decoders_is_not_heard(capfd):
    assert [o.result for o in map_photos(deed, paths("chatter"))] == ["said"]
    assert capfd.readouterr() == ("", "")


def test_results_come_while_others_are_at_work():
    outcomes = map_photos(deed, paths("first", "sleep"), 2, WorkLimits(seconds=50))
    begun = time.monotonic()
    assert next(outcomes).result == "first"
    outcomes.close()
    assert time.monotonic() - begun < 20


def test_workers_that_did_foreign_work_are_not_used_again():
    assert len({o.result for _ in range(2) for o in map_photos(own_number, paths("a", "b"))}) == 2


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux limits the memory of a process")
def test_a_picture_larger_than_the_memory_is_said(tmp_path):
    _, data = cv2.imencode(".png", np.zeros((5000, 6000, 3), np.uint8))
    data.tofile(tmp_path / "a.png")
    (outcome,) = map_photos(open_photo, [tmp_path / "a.png"], limits=WorkLimits(bytes=60_000_000))
    assert (
        outcome.message == f"{tmp_path / 'a.png'}: does not fit in the memory; crop it or export it smaller"
    )


def test_a_python_that_does_not_start_is_said(monkeypatch):
    monkeypatch.setattr(pool, "_PROGRAM", "raise SystemExit(3)")
    with pytest.raises(
        GlowkinError, match=r"a second Python process, .* did not start .* install glowkin again"
    ):
        list(map_photos(deed, paths("a")))


def test_the_share_of_the_memory_is_smaller_for_more_workers():
    assert WorkLimits(bytes=5).share(3) == 5
    one, many = WorkLimits().share(1), WorkLimits().share(10_000)
    assert one is None or one >= many == 2 << 30


# From here on, a program of its own is interrupted or killed, and nothing of it may be left.


def marked(mark):
    """Processes with this mark in their environment."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            if mark.encode() in (entry / "environ").read_bytes():
                found.append(int(entry.name))
        except OSError:
            continue
    return found


def wait_for(condition, seconds=30):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return False


@pytest.fixture
def started(tmp_path, root):
    """glowkin measure of a photograph and of a pipe that never gives one, in the middle of the second."""
    if not Path("/proc/self/environ").exists():
        pytest.skip("needs /proc")
    mark, pipe = uuid.uuid4().hex, tmp_path / "hanging.jpg"
    os.mkfifo(pipe)
    photo = root / "sample_images" / "side_by_side.jpg"
    process = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-m", "glowkin.cli", "measure", photo, pipe, "--json", "--jobs", "1"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
        env={**os.environ, "MARK": mark, "PYTHONPATH": os.pathsep.join(sys.path)},
        # a run that was itself started in the background passes over interrupts
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
    )  # fmt: skip

    held = []
    assert wait_for(lambda: process.poll() is not None or _hold(pipe, held))
    time.sleep(0.3)  # for the first result to be taken up
    yield process, mark
    process.kill()
    process.communicate()
    for end in held:
        os.close(end)


def _hold(pipe, held):
    """Hold the pipe open once somebody reads from it; before, opening it to write fails."""
    try:
        held.append(os.open(pipe, os.O_WRONLY | os.O_NONBLOCK))
    except OSError:
        return False
    return True


def test_an_interrupt_at_the_terminal_keeps_what_is_done_and_leaves_nobody(started):
    process, mark = started
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 130, err
    assert b"Interrupted: what was measured until then was kept." in err
    assert len(json.loads(out)["photos"]) == 1
    assert wait_for(lambda: not marked(mark), 5)


def test_workers_end_with_the_program_that_is_killed(started):
    process, mark = started
    assert len(marked(mark)) >= 2
    process.kill()
    process.wait()
    assert wait_for(lambda: not marked(mark), 5)
