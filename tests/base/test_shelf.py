"""Records on a shelf are what was put there, read back from a file."""

from __future__ import annotations

import gc
import io
import json
import threading
import tracemalloc
from dataclasses import dataclass

import pytest

from glowkin.base.records import CourseComparison, TimeCourse, to_json
from glowkin.base.shelf import Shelf, kept_as, shallow


@dataclass(frozen=True)
class Record:
    number: int
    words: tuple[str, ...] = ()


RECORDS = [Record(i, ("a",) * i) for i in range(7)]


def test_a_shelf_reads_as_a_list_does():
    shelf = Shelf(RECORDS[:5])
    for record in RECORDS[5:]:
        shelf.append(record)
    assert list(shelf) == RECORDS
    assert list(reversed(shelf)) == RECORDS[::-1]
    assert (len(shelf), shelf[0], shelf[-1], shelf[1:3]) == (7, RECORDS[0], RECORDS[-1], RECORDS[1:3])
    assert RECORDS[3] in shelf
    assert not Shelf()


@pytest.mark.parametrize("index", [7, -8])
def test_beyond_its_end_there_is_nothing(index):
    with pytest.raises(IndexError):
        Shelf(RECORDS)[index]


def test_what_lies_on_a_shelf_takes_next_to_no_memory():
    tracemalloc.start()
    shelf = Shelf(Record(i, (f"{i}",) * 200) for i in range(2000))
    gc.collect()
    held = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert len(shelf) == 2000
    assert held / 2000 < 40  # the record alone has 1.6 kB


def test_items_are_kept_as_the_others_are():
    assert isinstance(kept_as(Shelf(), iter(RECORDS)), Shelf)
    assert kept_as(RECORDS, iter(RECORDS)) == RECORDS


def test_a_document_written_piece_by_piece_is_the_same():
    compared = CourseComparison("a", "b", 2.0, (1.5, None), "different")
    course = TimeCourse((), (compared,), start="2026-05-04", flags=("moved",))
    out = io.StringIO()
    json.dump(shallow(course), out, default=shallow)
    assert json.loads(out.getvalue()) == json.loads(json.dumps(to_json(course)))
    with pytest.raises(TypeError, match="set is not a record"):
        shallow(set())


def test_chosen_records_stay_where_they_lie():
    shelf = Shelf(RECORDS)
    chosen = shelf.of([4, 1])
    shelf.append(Record(7))
    assert list(chosen) == [RECORDS[4], RECORDS[1]]
    assert chosen.holds_what(shelf.of([4, 1]))
    assert not chosen.holds_what(shelf.of([1, 4]))
    assert not chosen.holds_what(Shelf(RECORDS).of([4, 1]))
    del shelf
    assert chosen[0] == RECORDS[4]


def test_a_shelf_is_read_while_another_thread_fills_it():
    shelf = Shelf(RECORDS)
    wrong = []

    def read():
        for _ in range(300):
            wrong.extend(r for i, r in enumerate(shelf.of(range(7))) if r != RECORDS[i])

    thread = threading.Thread(target=read)
    thread.start()
    for i in range(2000):
        shelf.append(Record(i, ("b",) * 50))
    thread.join()
    assert not wrong
