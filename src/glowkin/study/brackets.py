"""Brackets in a study: photographs of one scene, exposed differently, that are one measurement.

The photograph in the ledger is the shortest exposure, by which the record goes; the others are kept beside.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.light.bracket import view
from glowkin.light.decode import open_photo
from glowkin.run.many import map_photos
from glowkin.study.edits import Edits
from glowkin.study.ledger import transaction
from glowkin.study.queries import QUERIES

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from glowkin.study.pictures import Picture


class Brackets(Edits):
    """A ledger that keeps brackets."""

    def _known(self, seen: Picture) -> int | None:
        """The number of the photograph that a file is, or is an exposure of."""
        row = self._one(
            "WITH held (id) AS (SELECT id FROM pictures WHERE sha256 = ?1 "
            "UNION SELECT picture_id FROM originals WHERE sha256 = ?1) "
            "SELECT p.id FROM held JOIN photographs p ON p.picture_id = held.id "
            "UNION ALL SELECT e.photograph_id FROM held JOIN exposures e ON e.picture_id = held.id",
            seen.sha256,
        )
        return None if row is None else int(row[0])

    def _known_bracket(self, seen: Sequence[Picture], *, replace: bool) -> int | None:
        """The bracket that these files are exposures of, or take the place of; None where all are new."""
        if len({one.sha256 for one in seen}) < len(seen):
            raise WrongUseError("--bracket: two PHOTOs are the same photograph; give each exposure once")
        known = [self._known(one) or (self._there(one) if replace else None) for one in seen]
        there = {number for number in known if number is not None}
        held = {number: len(self.reading.exposures(number)) for number in there}
        if len(there) == 1 and all(held.values()) and (None not in known or replace):
            return there.pop()
        for one, number in zip(seen, known, strict=True):
            if number is not None and held[number]:
                raise CannotReadError(
                    f"{one.path}: is in the study with other exposures; put the originals of these back, or "
                    "take the new ones in their place with --replace"
                )
            if number is not None:
                raise CannotReadError(
                    f"{one.path}: is in the study by itself, and cannot be in a bracket too; measure the "
                    "bracket with glowkin measure --bracket, or add it to another study"
                )
        return None

    def _there(self, seen: Picture) -> int | None:
        """The number of the photograph that lies, or lay, or was copied from, this very place, and counts."""
        for query in ("by path", "by source"):
            row = self._one(f"{QUERIES[query]} LIMIT 1", seen.path)
            if row is not None and not self.reading.photograph(row[0]).left_out:
                return int(row[0])
        return None

    def _came_from(self, copy: Picture, source: Picture) -> None:
        """Keep where a file in the study was copied from: what lies there later may be another content."""
        if copy.path != source.path:
            self._do(
                "INSERT OR REPLACE INTO sources SELECT id, ? FROM pictures WHERE sha256 = ?",
                source.path, copy.sha256,
            )  # fmt: skip

    def _add_exposures(self, photograph: int, seen: Sequence[Picture]) -> None:
        for one in seen:
            self._do("INSERT INTO exposures VALUES (?, ?)", photograph, self._picture(one))

    def _exchange(self, photograph: int, seen: Sequence[Picture]) -> None:
        """Other exposures in the place of those of a bracket, which is measured anew."""
        with transaction(self._connection):
            self._do("DELETE FROM exposures WHERE photograph_id = ?", photograph)
            first = self._picture(seen[0])
            self._do("UPDATE photographs SET picture_id = ? WHERE id = ?", first, photograph)
            self._add_exposures(photograph, seen[1:])
            self._ask(photograph)

    def _set_reference(self, photograph: int, sha256: str) -> None:
        """Let a bracket go by the exposure that its record goes by."""
        (before,) = self._one("SELECT picture_id FROM photographs WHERE id = ?", photograph)
        row = self._one(
            "SELECT f.id FROM pictures f JOIN exposures e ON e.picture_id = f.id "
            "WHERE e.photograph_id = ? AND f.sha256 = ?",
            photograph, sha256,
        )  # fmt: skip
        if row is not None:
            self._do("DELETE FROM exposures WHERE picture_id = ?", row[0])
            self._do("UPDATE photographs SET picture_id = ? WHERE id = ?", row[0], photograph)
            self._do("INSERT INTO exposures VALUES (?, ?)", photograph, before)


def check_scene(paths: Sequence[Path]) -> None:
    """Raise ``CannotMeasureError`` where photographs are not exposures of one scene, or cannot be read."""
    (outcome,) = map_photos(partial(_seen_together, paths=tuple(paths)), paths[:1])
    if outcome.message is not None:
        raise CannotMeasureError(outcome.message)


def _seen_together(_: Path, paths: tuple[Path, ...]) -> None:
    view([open_photo(path) for path in paths])


def another_shot(path: Path, taken_at: str | None) -> bool:
    """Whether a file tells another time of capture than a photograph that was copied from the same place:
    cameras begin their names anew on an empty card.
    """
    (outcome,) = map_photos(taken_when, [path])
    return None not in (outcome.result, taken_at) and outcome.result != taken_at


def taken_when(path: Path) -> str | None:
    """When a photograph was taken, as its file tells."""
    return open_photo(path).metadata.taken_at
