"""Tables kept on disk: made once by however many ask, and made anew where what is kept is no table."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest

from glowkin.camera import cache

TABLE = np.arange(12.0).reshape(4, 3)


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(cache, "_folder", lambda: tmp_path)
    return tmp_path


def test_several_that_ask_at_once_wait_for_the_one_that_makes_it(folder):
    made, got = [], []

    def make():
        made.append(1)
        time.sleep(0.3)
        return TABLE

    asking = [threading.Thread(target=lambda: got.append(cache.cached("one", make))) for _ in range(4)]
    for thread in asking:
        thread.start()
    for thread in asking:
        thread.join()
    assert len(made) == 1
    assert all(np.array_equal(table, TABLE) for table in got)
    assert [f.suffix for f in folder.iterdir()] == [".npy"]


def test_a_maker_that_died_is_not_waited_for_without_end(folder, monkeypatch):
    monkeypatch.setattr(cache, "_PATIENCE_S", 0.2)
    cache.cached("one", lambda: TABLE)
    (file,) = folder.iterdir()
    file.rename(file.with_suffix(".making"))
    assert np.array_equal(cache.cached("one", lambda: TABLE), TABLE)
    assert [f.suffix for f in folder.iterdir()] == [".npy"]


def test_a_damaged_table_is_made_anew(folder):
    cache.cached("one", lambda: TABLE)
    (file,) = folder.iterdir()
    file.write_bytes(file.read_bytes()[:40])
    assert np.array_equal(cache.cached("one", lambda: TABLE), TABLE)
    assert np.array_equal(cache.cached("one", lambda: 0 * TABLE), TABLE)


def test_a_failure_to_make_leaves_nothing_behind(folder):
    def fail():
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        cache.cached("one", fail)
    assert list(folder.iterdir()) == []


def test_a_folder_that_cannot_be_written_changes_nothing(folder, monkeypatch):
    (folder / "file").write_text("no folder")
    monkeypatch.setattr(cache, "_folder", lambda: folder / "file" / "answers")
    assert np.array_equal(cache.cached("one", lambda: TABLE), TABLE)
