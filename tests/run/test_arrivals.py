"""Which files of a folder are complete. No system's events here: folders on a network tell none."""

from __future__ import annotations

import os

import pytest

from glowkin.run.arrivals import Still, arrivals
from glowkin.run.stopping import Stop, stoppable

SUFFIXES = (".jpg", ".dng")


@pytest.fixture
def still(tmp_path):
    return Still(tmp_path, SUFFIXES)


def names(paths):
    return [p.name for p in paths]


def test_a_file_is_handed_out_once_it_stood_still_for_a_second(tmp_path, still):
    photo = tmp_path / "a.jpg"
    photo.write_bytes(b"ha")
    assert still.look(0.0) == []
    photo.write_bytes(b"half")
    assert still.look(0.9) == []
    assert still.look(1.8) == []
    assert names(still.look(1.95)) == ["a.jpg"]
    assert still.look(9.0) == []


def test_a_file_that_changes_later_is_handed_out_again(tmp_path, still):
    photo = tmp_path / "a.jpg"
    photo.write_bytes(b"half")
    assert [names(still.look(t)) for t in (0.0, 1.0)] == [[], ["a.jpg"]]
    os.utime(photo, ns=(1, 1))
    assert [names(still.look(t)) for t in (2.0, 3.0, 4.0)] == [[], ["a.jpg"], []]


def test_empty_hidden_and_foreign_files_and_parts_are_passed_over(tmp_path, still):
    for name in ("a.jpg.part", "b.tmp", "c.jpg.tmp", ".d.jpg", "e.xmp", "f.txt", "g.JPG"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "folder.jpg").mkdir()
    assert [names(still.look(t)) for t in (0.0, 5.0, 10.0)] == [[], ["g.JPG"], []]
    (tmp_path / "a.jpg.part").rename(tmp_path / "a.jpg")
    assert [names(still.look(t)) for t in (11.0, 12.0)] == [[], ["a.jpg"]]


def test_a_folder_that_is_gone_for_a_while_is_waited_for(tmp_path):
    folder = tmp_path / "share"
    still = Still(folder, SUFFIXES)
    assert still.look(0.0) == []
    folder.mkdir()
    (folder / "a.dng").write_bytes(b"x")
    assert [names(still.look(t)) for t in (1.0, 2.0)] == [[], ["a.dng"]]


@pytest.mark.parametrize("trouble", [OSError("no more watches"), RuntimeError("no such system"), None])
def test_photographs_are_found_whether_or_not_the_system_tells_of_them(tmp_path, monkeypatch, trouble):
    def silent(*_, **options):
        if trouble:
            raise trouble
        while not options["stop_event"].is_set():
            yield set()

    monkeypatch.setattr("watchfiles.watch", silent)
    monkeypatch.setattr("glowkin.run.arrivals.STILL_S", 0.05)
    monkeypatch.setattr("glowkin.run.arrivals._LOOK_S", 0.02)
    stop, found = Stop(), []
    (tmp_path / "a.jpg").write_bytes(b"x")
    for ready in arrivals(tmp_path, SUFFIXES, stop.told):
        found += names(ready)
        if found:
            stop.tell()
    assert found == ["a.jpg"]


def test_a_request_to_stop_breaks_off_what_may_end_and_nothing_else():
    done = []
    with stoppable() as stop:
        stop.broken_off(lambda: (done.append("begun"), os.kill(os.getpid(), 15), done.append("ended")))
        os.kill(os.getpid(), 2)
        done.append("written")
        stop.broken_off(lambda: done.append("begun anew"))
        assert stop.told()
    assert done == ["begun", "written"]
