"""What may be asked of a study: every query of ``show`` and of the report, answered with frozen rows.

Each goes by an index and reads no record that it is not asked for. Lists that grow with the study come in
parts (``most``, ``after``); what counts all photographs walks a narrow index only.
"""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
from dataclasses import replace
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from glowkin.base.checks import checks_from_json
from glowkin.base.errors import WrongUseError
from glowkin.base.maps import FractionMap, unpacked
from glowkin.base.matches import matches_from_json
from glowkin.base.places import typed
from glowkin.base.records import course_from_json, pairs_from_json, photos_from_json
from glowkin.base.settings import FRAME_KINDS
from glowkin.study import ledger
from glowkin.study.discreet import walked
from glowkin.study.pictures import Picture, relative
from glowkin.study.queries import QUERIES
from glowkin.study.rows import (
    CameraRow,
    Conclusion,
    ConclusionRow,
    EditRow,
    FlagRow,
    MeasurementRow,
    NameRow,
    Overview,
    PhotographRow,
    ProgramRow,
    SampleRow,
    SettingsRow,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from glowkin.base.checks import ShotCheck
    from glowkin.base.records import MeasuredPhoto, Pair

FEW = 5
ALL = 1 << 62
"""As many as there are."""
_PART = 500
"""Rows that one question answers; longer lists are asked for in so many parts, each quick."""
_LEAST_DIGITS = 6
_MORE_DIGITS = 6
"""Digits of a hash shown beyond those that several have in common."""
_NO_NUMBER = 1 << 63
"""SQLite's whole numbers end below this."""


@contextlib.contextmanager
def open_study(given: Path) -> Iterator[Reading]:
    """A study to be read, as it is now: what is written meanwhile is not seen, and is not kept waiting."""
    folder = ledger.study_folder(given)
    with ledger.reading(folder) as connection:
        yield Reading(connection, folder)


class Reading:
    """The queries, on one connection."""

    def __init__(self, connection: sqlite3.Connection, folder: Path) -> None:
        self.folder = folder
        self._connection = connection

    def overview(self) -> Overview:
        """The study at a glance."""
        (title, made_at, program), photographs = self._one("title"), self._one("photographs counted")[0]
        asked, failed, anew = self._one("awaited counted")
        first, last = ((self._one(query) or (None,))[0] for query in ("first taken", "last taken"))
        return Overview(
            title, made_at, program, photographs, self._one("measured counted")[0], asked - failed, failed,
            anew, self._one("left out counted")[0], self._one("samples counted")[0], first, last,
            self._one("edits counted")[0],
        )  # fmt: skip

    def photographs(self, most: int = 50, after: int = 0) -> list[PhotographRow]:
        """Photographs in order of capture, those of no known time first."""
        return [_photograph(row) for row in self._list("photographs", most, after)]

    def left_out(self, most: int = 50, after: int = 0) -> list[PhotographRow]:
        """Photographs that the user left out, the reason with each."""
        return [_photograph(row) for row in self._list("left out", most, after)]

    def not_done(self, most: int = 50, after: int = 0) -> list[PhotographRow]:
        """Photographs whose measurement is asked for and not whole."""
        return [_photograph(row) for row in self._list("not done", most, after)]

    def photograph(self, photograph_id: int) -> PhotographRow:
        """One of them; ``WrongUseError`` where there is none of that number."""
        row = self._one("photograph", photograph_id)
        if row is None:
            raise WrongUseError(f"{self.folder}: holds no photograph number {photograph_id}")
        return _photograph(row)

    def find(self, text: str) -> PhotographRow:
        """The photograph that a user means: by its path, the end of it, or the first digits of its hash.

        ``WrongUseError`` where none or several are meant.
        """
        for path in (text, relative(Path(text), self.folder)):
            if row := self._one("by path", path):
                return self.photograph(row[0])
        if len(text) >= _LEAST_DIGITS and all(c in "0123456789abcdef" for c in text):
            by_hash = self._all("by hash", text, f"{text}g")
            if len({row[0] for row in by_hash}) == 1:
                return self.photograph(by_hash[0][0])
            if by_hash:
                shown = len(text) + _MORE_DIGITS
                few = ", ".join(f"{path} ({sha256[:shown]})" for _, path, sha256 in by_hash)
                raise WrongUseError(
                    f"{text}: the hashes of several photographs begin so: {few}; give more of its digits"
                )
        meant = [
            (i, path)
            for i, path in self._all("by name", PurePath(text).name)
            if f"/{path}".endswith(f"/{text}")
        ]
        if len(meant) == 1:
            return self.photograph(meant[0][0])
        if meant:
            few = ", ".join(path for _, path in meant[:FEW])
            raise WrongUseError(
                f"{text}: several photographs are called so: {few}; name one by its whole path"
            )
        raise WrongUseError(
            f"{text}: is not in this study; see which are with: glowkin study show {typed(self.folder)}"
        )

    def find_all(self, texts: Iterable[str]) -> list[PhotographRow]:
        """The photographs that a user means, each once."""
        return list({row.id: row for row in map(self.find, texts)}.values())

    def names(self) -> list[NameRow]:
        """The samples of all photographs by name, S2 before S10."""
        return sorted((NameRow(*row) for row in self._all("names")), key=lambda row: _in_order(row.name))

    def every_name(self) -> list[str]:
        """What samples are or were named in any measurement."""
        return [name for (name,) in self._all("every name")]

    def course(self, name: str, most: int = ALL, after: int = 0) -> list[SampleRow]:
        """One sample through all photographs, in order of capture."""
        return [_sample(row) for row in self._list("course", most, after, name)]

    def samples_of(self, measurement_id: int) -> list[SampleRow]:
        """The samples of one measurement, in reading order."""
        return [_sample(row) for row in self._all("samples of", measurement_id)]

    def flags(self) -> list[FlagRow]:
        """Every flag raised by a current measurement."""
        return [
            FlagRow(flag, photos, samples, tuple(p for (p,) in self._all("flagged", flag, FEW)))
            for flag, photos, samples in self._all("flags")
        ]

    def cameras(self) -> list[CameraRow]:
        """The camera descriptions that current measurements rest on."""
        return [CameraRow(*row) for row in self._all("cameras")]

    def programs(self) -> list[ProgramRow]:
        """The versions that current measurements were made by."""
        return [ProgramRow(name, json.loads(versions), n) for name, versions, n in self._all("programs")]

    def settings(self) -> list[SettingsRow]:
        """The settings that photographs are measured with."""
        return [SettingsRow(i, json.loads(told), n) for i, told, n in self._all("settings")]

    def settings_told(self, settings_id: int) -> dict[str, Any]:
        """One of them; files and frames as names and hashes."""
        told: dict[str, Any] = json.loads(self._one("settings told", settings_id)[0])
        return told

    def settings_of(self, measurement_id: int) -> int:
        """The number of the settings that a measurement was made by."""
        return int(self._one("settings of", measurement_id)[0])

    def measurements_of(self, photograph_id: int) -> list[MeasurementRow]:
        """Every whole measurement of a photograph, the oldest first."""
        return [MeasurementRow(*_with_flags(row)) for row in self._all("measurements of", photograph_id)]

    def record(self, measurement_id: int) -> MeasuredPhoto:
        """The whole record of a measurement, with its samples as they are called now.

        ``path`` is relative to the study.
        """
        row = self._one("record", measurement_id)
        if row is None:
            raise WrongUseError(f"{self.folder}: holds no measurement number {measurement_id}")
        (photo,) = photos_from_json({"photos": [json.loads(row[0])]})
        names = [name for (name,) in self._all("names of", measurement_id)]
        samples = tuple(replace(s, name=name) for s, name in zip(photo.samples, names, strict=True))
        return replace(photo, path=row[1], samples=samples)

    def check(self, measurement_id: int) -> ShotCheck | None:
        """What the check of a photograph said when it was measured; ``None`` where an older version did."""
        row = self._one("check", measurement_id)
        return checks_from_json({"checks": [json.loads(row[0])]})[0] if row and row[0] else None

    def measured(self, most: int = ALL, after: int = 0) -> Iterator[MeasuredPhoto]:
        """The current records in order of capture, one after another."""
        for row in self.photographs(most, after):
            if row.measurement_id is not None:
                yield self.record(row.measurement_id)

    def preview(self, photograph_id: int) -> bytes | None:
        """A small JPEG of the photograph, or of the last content measured."""
        row = self._one("preview", photograph_id)
        return None if row is None else bytes(row[0])

    def file(self, sha256: str) -> tuple[str, bytes]:
        """Name and content of a camera file, filter, known glow or forms file."""
        row = self._one("file", sha256)
        if row is None:
            raise WrongUseError(f"{self.folder}: holds no file {sha256[:12]}")
        return str(row[0]), bytes(row[1])

    def picture(self, sha256: str) -> Picture | None:
        """A photograph's file, or that of a frame taken beside it, by content."""
        row = self._one("picture", sha256)
        return None if row is None else Picture(*row)

    def exposures(self, photograph_id: int) -> list[Picture]:
        """Of a bracket the files of the exposures beside the photograph itself; none of another."""
        return [Picture(*row) for row in self._all("exposures", photograph_id)]

    def pictures(self) -> Iterator[Picture]:
        """Every file that is known by its path."""
        return (Picture(*row[1:]) for row in self._numbered("pictures"))

    def conclusions(self, most: int = 20, after: int = 0) -> list[ConclusionRow]:
        """Courses, comparisons and matches that are not withdrawn, the latest first."""
        return [ConclusionRow(*row) for row in self._list("conclusions", most, after)]

    def withdrawn(self, conclusion_id: int) -> str:
        """Why a conclusion was withdrawn; empty where it was not."""
        return str(self._concluded(conclusion_id)[3])

    def conclusion(self, conclusion_id: int) -> Conclusion:
        """A conclusion whole, also a withdrawn one; ``WrongUseError`` where there is none of that number.

        Photographs are named by the paths that they have now.
        """
        kind, _, record, _ = self._concluded(conclusion_id)
        places = {sha256: path for _, sha256, path in self._numbered("grounds", conclusion_id)}
        document = walked(json.loads(record), lambda text: places.get(text, text))
        if kind == "track":
            return Conclusion("track", course_from_json(document), self._maps(conclusion_id))
        if kind == "match":
            return Conclusion("match", matches=matches_from_json(document))
        return Conclusion("compare", pairs=pairs_from_json(document))

    def _maps(self, conclusion_id: int) -> dict[str, tuple[FractionMap, ...]]:
        out: dict[str, tuple[FractionMap, ...]] = {}
        for name, path, time_s, fraction, by_light, pixel_px, height, width, pixels in self._all(
            "maps", conclusion_id
        ):
            values, inside = unpacked(pixels, height, width)
            shown = FractionMap(path, time_s, fraction, bool(by_light), values, inside, pixel_px)
            out[name] = (*out.get(name, ()), shown)
        return out

    def told_of(self, conclusion_id: int) -> dict[str, Any]:
        """The options that a conclusion was made by."""
        told: dict[str, Any] = json.loads(self._concluded(conclusion_id)[1])
        return told

    def grounds_of(self, conclusion_id: int) -> list[int]:
        """The numbers of the measurements that a conclusion was made of."""
        return [row[0] for row in self._numbered("grounds", conclusion_id)]

    def hashes_of(self, conclusion_id: int) -> dict[str, str]:
        """The hash of each photograph that a conclusion was made of, by its path."""
        return {path: sha256 for _, sha256, path in self._numbered("grounds", conclusion_id)}

    def needed(self) -> set[str]:
        """The content of all that photographs not left out are to be measured from, also of frames beside."""
        used = (json.loads(told) for (told,) in self._all("settings needed"))
        frames = {frame for told in used for kind in FRAME_KINDS for frame in told[kind]}
        photographs = (row[1] for query in ("needed", "exposures needed") for row in self._numbered(query))
        return frames.union(photographs)

    def edits(self, most: int = 20, after: int = 0) -> list[EditRow]:
        """What the user changed, the latest first."""
        return [EditRow(*row) for row in self._list("edits", most, after)]

    def _concluded(self, conclusion_id: int) -> tuple[str, str, str, str]:
        row = self._one("conclusion", conclusion_id) if conclusion_id < _NO_NUMBER else None
        if row is None:
            raise WrongUseError(f"{self.folder}: holds no conclusion number {conclusion_id}")
        return row[0], row[1], row[2], row[3]

    def copy_to(self, file: Path) -> None:
        """The whole ledger, as it is seen here, as another file."""
        with contextlib.closing(sqlite3.connect(file)) as copy:
            self._connection.backup(copy)

    def _list(self, query: str, most: int, after: int, *values: Any) -> list[Any]:
        """Rows of a query that takes how many and after how many, asked for in parts."""
        rows: list[Any] = []
        while asked := min(_PART, most - len(rows)):
            part = self._all(query, *values, asked, after + len(rows))
            rows += part
            if len(part) < asked:
                break
        return rows

    def _numbered(self, query: str, *values: Any) -> Iterator[Any]:
        """Rows of a query that takes after which number and how many, asked for in parts; the number is the
        first of each row.
        """
        last = 0
        while rows := self._all(query, *values, last, _PART):
            yield from rows
            last = rows[-1][0]

    def _one(self, query: str, *values: Any) -> Any:
        return self._connection.execute(QUERIES[query], values).fetchone()

    def _all(self, query: str, *values: Any) -> list[Any]:
        return self._connection.execute(QUERIES[query], values).fetchall()


def _in_order(name: str) -> list[tuple[int, int, str]]:
    """A key that sorts numbers in names as numbers."""
    parts = (part for part in re.split(r"(\d+)", name) if part)
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts]


def _photograph(row: Sequence[Any]) -> PhotographRow:
    return PhotographRow(*_with_flags(row))


def _with_flags(row: Sequence[Any]) -> tuple[Any, ...]:
    """A row whose last column is flags, by spaces."""
    return (*row[:-1], tuple(row[-1].split()))


def _sample(row: Sequence[Any]) -> SampleRow:
    path, taken_at, measurement, name, u, v, uu, uv, vv, relative_, absolute = row[:11]
    nm, nm_low, nm_high, purity, purity_low, purity_high, band, band_low, band_high, clipped, flags = row[11:]
    covariance = None if uu is None else ((uu, uv), (uv, vv))
    return SampleRow(
        path, taken_at, measurement, name, u, v, covariance, relative_, absolute,
        nm, _pair(nm_low, nm_high), purity, _pair(purity_low, purity_high), band, _pair(band_low, band_high),
        clipped, tuple(flags.split()),
    )  # fmt: skip


def _pair(low: float | None, high: float | None) -> Pair | None:
    return None if low is None or high is None else (low, high)
