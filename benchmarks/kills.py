"""What ``kill -9`` in the middle of ``study add`` and ``study remeasure`` leaves of a study.

``python benchmarks/kills.py [--kills 200] [--seed 1]``: the command runs as a process of its own on small
rendered photographs, and is killed at a random moment; half of the time just after it said that a photograph
was kept, where commits are. After each kill two readers look on while the next run completes what was begun,
and it is checked that

- the ledger is sound (SQLite's own checks of integrity and of references), and its counts are right,
- every row that was there before is there, and all that the command had said it kept,
- every measurement is whole: its record, and as many samples in it as beside it,
- what had a result before has one still, and nothing is left to be done after the next run.

Any of these missing ends it with status 1.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import jpeg_bytes
from glowkin.scene.render import photograph
from glowkin.scene.stage import two_reds_and_green
from glowkin.study.measuring import complete
from glowkin.study.reading import open_study
from glowkin.study.workbook import new_study, open_workbook

KILLS_A_STUDY = 8
AT_ONCE = 3
KEPT = ": measured and kept"
GROWING = ("pictures", "files", "settings", "programs", "photographs", "measurements", "records", "samples")
CHANGING = ("current", "shown", "photographs", "settings_id", "taken_at", "path")
COUNTS = {
    "SELECT name, photographs FROM names WHERE photographs": (
        "SELECT name, count(*) FROM samples WHERE shown GROUP BY name"
    ),
    "SELECT flag, photographs, samples FROM flag_counts WHERE photographs": (
        "SELECT flag, count(*), sum(samples) FROM flags WHERE shown GROUP BY flag"
    ),
    "SELECT coalesce(sum(photographs), 0) FROM programs": (
        "SELECT count(*) FROM measurements WHERE shown AND current"
    ),
}


@dataclass
class Tally:
    """What happened, and what was wrong."""

    killed: int = 0
    ended: int = 0
    begun: int = 0
    amid: int = 0
    read: int = 0
    wrong: list[str] = field(default_factory=list)


class Bench:
    """Photographs, a study, and processes that are killed."""

    def __init__(self, place: Path, seed: int) -> None:
        self.random, self.place, self.tally = random.Random(seed), place, Tally()  # noqa: S311
        shot = photograph(two_reds_and_green((450, 300)), default_camera(), np.random.default_rng(1))
        self._jpeg, self._made, self.seconds = jpeg_bytes(shot), 0, 4.0
        self.study = self._study()

    def fresh(self) -> list[Path]:
        """Photographs that no study has seen: the same picture, other content."""
        folder = self.place / f"evening-{self._made}"
        folder.mkdir()
        for _ in range(AT_ONCE):
            self._made += 1
            (folder / f"{self._made}.jpg").write_bytes(self._jpeg + self._made.to_bytes(4, "big"))
        return [folder]

    def round(self, number: int) -> None:
        """One command killed, one that completes, readers beside it."""
        if number % KILLS_A_STUDY == 0 and number:
            self.study = self._study()
        before = rows(self.study)
        said = self._killed(self._command(before))
        self.check(before, said, whole=False)
        self._completed()
        self.check(rows(self.study), 0, whole=True)

    def check(self, before: dict[str, dict[int, str]], said: int, *, whole: bool) -> None:
        """Add to what is wrong."""
        now = rows(self.study)
        wrong = self.tally.wrong
        for table, kept in before.items():
            gone = [i for i, content in kept.items() if now[table].get(i) != content]
            wrong += [f"{table}: {len(gone)} rows lost or changed"] if gone else []
        new = len(now["measurements"]) - len(before["measurements"])
        wrong += [f"{said} were said to be kept, {new} are there"] if new < said else []
        wrong += unsound(self.study, whole=whole)

    def calibrate(self) -> None:
        """How long one command takes."""
        began = time.monotonic()
        subprocess.run(self._add(), check=True, capture_output=True)  # noqa: S603
        self.seconds = time.monotonic() - began

    def _study(self) -> Path:
        return new_study(self.place / f"study-{self._made}", "killed", "benchmark")

    def _add(self) -> list[str]:
        copy = ["--copy"] if self.random.random() < 0.5 else []
        return [*GLOWKIN, "add", str(self.study), *map(str, self.fresh()), "--jobs", "2", *copy]

    def _command(self, before: dict[str, dict[int, str]]) -> list[str]:
        if not before["measurements"] or self.random.random() < 0.6:
            return self._add()
        white = self.random.choice(["E", "D65", "D50", "A"])
        return [*GLOWKIN, "remeasure", str(self.study), "--white-point", white, "--jobs", "2"]

    def _killed(self, command: list[str]) -> int:
        """Run it until it is killed; how many photographs it said it had kept."""
        after = self.random.randint(1, AT_ONCE) if self.random.random() < 0.5 else None
        wait = (
            self.random.uniform(0.2, 1.1) * self.seconds if after is None else self.random.uniform(0.0, 0.05)
        )
        with subprocess.Popen(  # noqa: S603
            command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
        ) as process:
            lines: list[str] = []
            reader = threading.Thread(target=lambda: lines.extend(process.stderr or ()))
            counted = threading.Timer(wait, process.kill)
            if after is None:
                counted.start()
            reader.start()
            while after is not None and process.poll() is None:
                if sum(KEPT in line for line in lines) >= after:
                    time.sleep(wait)
                    process.kill()
                    break
                time.sleep(0.002)
            process.wait()
            counted.cancel()
            reader.join()
        said = sum(KEPT in line for line in lines)
        killed = process.returncode < 0
        self.tally.killed += killed
        self.tally.ended += not killed
        with open_study(self.study) as study:
            left = study.overview().awaited
        self.tally.begun += killed and left > 0
        self.tally.amid += killed and said > 0 and left > 0
        return said

    def _completed(self) -> None:
        """The next run, with two readers beside it."""
        stop = threading.Event()
        readers = [threading.Thread(target=self._look_on, args=(stop,)) for _ in range(2)]
        for reader in readers:
            reader.start()
        try:
            with open_workbook(self.study, "benchmark") as workbook:
                done = complete(workbook, 2)
                self.tally.wrong += [message for _, message in done.errors]
        finally:
            stop.set()
            for reader in readers:
                reader.join()

    def _look_on(self, stop: threading.Event) -> None:
        """Read all the while; each look is whole, whatever is written meanwhile."""
        while not stop.is_set():
            try:
                with open_study(self.study) as study:
                    o = study.overview()
                    listed = [
                        study.record(r.measurement_id) for r in study.photographs(1000) if r.measurement_id
                    ]
                    named = sum(row.photographs for row in study.names())
                if sum(len(photo.samples) for photo in listed) != o.samples or named != o.samples:
                    self.tally.wrong.append("a reader saw half of something")
                self.tally.read += 1
            except Exception as error:  # noqa: BLE001 - told with the rest
                self.tally.wrong.append(f"a reader could not read: {error}")
            time.sleep(0.2)


GLOWKIN = [sys.executable, "-m", "glowkin", "study"]


def rows(study: Path) -> dict[str, dict[int, str]]:
    """A fingerprint of every row by its number, but for what may change: what counts, where a file lies."""
    out: dict[str, dict[int, str]] = {}
    with sqlite3.connect(study / "ledger.sqlite") as connection:
        for table in GROWING:
            names = [c[1] for c in connection.execute(f"PRAGMA table_info({table})")]
            kept = [n for n in names if n not in CHANGING]
            query = f"SELECT rowid, {', '.join(kept)} FROM {table}"  # noqa: S608
            found = connection.execute(query).fetchall()
            out[table] = {row[0]: hashlib.sha256(repr(row).encode()).hexdigest() for row in found}
    connection.close()
    return out


def unsound(study: Path, *, whole: bool) -> list[str]:
    """What is wrong with a ledger by itself."""
    with sqlite3.connect(study / "ledger.sqlite") as c:
        wrong = [] if c.execute("PRAGMA integrity_check").fetchall() == [("ok",)] else ["not sound"]
        wrong += ["a reference to nothing"] if c.execute("PRAGMA foreign_key_check").fetchall() else []
        for kept, there in COUNTS.items():
            wrong += [] if sorted(c.execute(kept)) == sorted(c.execute(there)) else [f"wrong count: {kept}"]
        for number, count, record in c.execute(
            "SELECT m.id, m.sample_count, r.record FROM measurements m "
            "LEFT JOIN records r ON r.measurement_id = m.id"
        ).fetchall():
            beside = c.execute("SELECT count(*) FROM samples WHERE measurement_id = ?", (number,)).fetchone()[
                0
            ]
            if record is None or not count == beside == len(json.loads(record)["samples"]):
                wrong.append(f"measurement {number} is half")
        without = "SELECT count(*) FROM photographs p WHERE {} NOT EXISTS (SELECT 1 FROM measurements m " \
                  "WHERE m.photograph_id = p.id AND m.current)"  # fmt: skip
        measured = "EXISTS (SELECT 1 FROM measurements m WHERE m.photograph_id = p.id) AND"
        wrong += ["a result that stood is gone"] if c.execute(without.format(measured)).fetchone()[0] else []
        if whole:
            wrong += (
                ["not measured after the next run"] if c.execute(without.format("")).fetchone()[0] else []
            )
            wrong += (
                ["still awaited after the next run"] if c.execute("SELECT * FROM awaited").fetchall() else []
            )
    c.close()
    parts = [p.name for p in study.glob("photos/.*")]
    return wrong + (["a part of a copy is left"] if parts and whole else [])


def main(arguments: list[str] | None = None) -> int:
    """Kill, look, print; 1 where something was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place), asked.seed)
        bench.calibrate()
        number = 0
        while bench.tally.killed < asked.kills:
            bench.round(number)
            number += 1
        tally = bench.tally
    print(f"{tally.killed} killed, {tally.ended} ended before that; {tally.begun} with work begun and not")
    print(f"done, {tally.amid} of them between two photographs; {tally.read} looks by readers")
    print(f"wrong: {len(tally.wrong)}")
    for wrong in tally.wrong[:20]:
        print(wrong)
    return 1 if tally.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
