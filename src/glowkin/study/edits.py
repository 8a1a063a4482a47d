"""What the user changes of a study: names, outlines, notes, what is left out, conclusions that are withdrawn;
and undoing it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from glowkin.base.errors import WrongUseError
from glowkin.study.ledger import transaction
from glowkin.study.tables import Tables, now
from glowkin.study.ways import LIKELY

if TYPE_CHECKING:
    from collections.abc import Sequence

Field = Literal["names", "outlines", "note", "left_out"]


@dataclass(frozen=True)
class Change:
    """One field of one photograph, as it is to be; names and outlines as JSON."""

    photograph_id: int
    field: Field
    after: str | None


@dataclass(frozen=True)
class Withdrawal:
    """Why a conclusion is withdrawn; empty where it is taken in again."""

    conclusion_id: int
    why: str


class Edits(Tables):
    """A ledger whose edits are deeds that can be undone."""

    def edit(self, words: str, changes: Sequence[Change], withdrawals: Sequence[Withdrawal] = ()) -> None:
        """One deed of the user's, to be undone as one."""
        with transaction(self._connection):
            edit = self._edit(words, changes)
            for one in withdrawals:
                self._do(
                    "INSERT INTO withdrawals SELECT ?, id, withdrawn, ? FROM conclusions WHERE id = ?",
                    edit, one.why, one.conclusion_id,
                )  # fmt: skip
                self._withdraw(one.conclusion_id, one.why)

    def undo(self) -> str:
        """Undo the last edit that stands; answers its words. ``WrongUseError`` where there is none."""
        row = self._one("SELECT id, words FROM edits WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1")
        if row is None:
            raise WrongUseError(f"{self.folder}: holds no edit that could be undone")
        with transaction(self._connection):
            changes = self._connection.execute(
                "SELECT photograph_id, field, before FROM changes WHERE edit_id = ?", (row[0],)
            ).fetchall()
            for photograph, field, before in changes:
                self._set(photograph, field, before)
            withdrawals = "SELECT conclusion_id, before FROM withdrawals WHERE edit_id = ?"
            for conclusion, before in self._connection.execute(withdrawals, (row[0],)).fetchall():
                self._withdraw(conclusion, before)
            self._do("UPDATE edits SET undone_at = ? WHERE id = ?", now(), row[0])
            for photograph in {c[0] for c in changes}:
                self._settle(photograph, {c[1] for c in changes})
        return str(row[1])

    def _edit(self, words: str, changes: Sequence[Change]) -> int:
        edit = self._do(
            "INSERT INTO edits (made_at, program, words) VALUES (?, ?, ?)", now(), self._program, words
        )
        for change in changes:
            (before,) = self._one(
                f"SELECT {change.field} FROM photographs WHERE id = ?",  # noqa: S608 - one of four names
                change.photograph_id,
            )
            self._do(
                "INSERT INTO changes VALUES (?, ?, ?, ?, ?)",
                edit, change.photograph_id, change.field, before, change.after,
            )  # fmt: skip
            self._set(change.photograph_id, change.field, change.after)
        for photograph in {c.photograph_id for c in changes}:
            self._settle(photograph, {c.field for c in changes if c.photograph_id == photograph})
        return edit

    def _withdraw(self, conclusion: int, why: str) -> None:
        self._do("UPDATE conclusions SET withdrawn = ? WHERE id = ?", why, conclusion)

    def _set(self, photograph: int, field: str, value: str | None) -> None:
        query = f"UPDATE photographs SET {field} = ? WHERE id = ?"  # noqa: S608 - one of four names
        self._do(query, value, photograph)

    def _settle(self, photograph: int, fields: set[str]) -> None:
        """Make the current measurement what the photograph now asks for, or ask for it."""
        if "outlines" in fields:
            kept = self._one(
                "SELECT m.id FROM photographs p JOIN measurements m ON m.photograph_id = p.id "
                "AND m.settings_id = p.settings_id AND m.outlines IS p.outlines "
                "JOIN programs g ON g.id = m.program_id WHERE p.id = ? AND g.program = ? "
                "AND (p.names = '[]' OR json_array_length(p.names) = m.sample_count) "
                "ORDER BY m.id DESC LIMIT 1",
                photograph, self._program,
            )  # fmt: skip
            self._ask(photograph)
            if kept is not None:
                self._none_current(photograph)
                self._do("UPDATE measurements SET current = 1 WHERE id = ?", kept[0])
                self._do("DELETE FROM awaited WHERE photograph_id = ?", photograph)
        if "names" in fields:  # what could not be measured by other names is tried again
            self._do("UPDATE awaited SET message = NULL WHERE photograph_id = ?", photograph)
        self._name_samples(photograph)
        self._show(photograph)

    def _name_samples(self, photograph: int) -> None:
        """Call the current measurement's samples as the photograph has them, or as they were measured; where
        another sample then is the one of known glow, ask for a new measurement.
        """
        found = self._one(
            "SELECT m.id, m.sample_count, p.names, r.record FROM photographs p JOIN measurements m "
            "ON m.photograph_id = p.id AND m.current = 1 JOIN records r ON r.measurement_id = m.id "
            "WHERE p.id = ?",
            photograph,
        )  # fmt: skip
        if found is None:
            return
        measurement, count, given, record = found
        names, measured = json.loads(given), [s["name"] for s in json.loads(record)["samples"]]
        if len(names) != count:
            names = measured
        if any(_place(glow, names) != _place(glow, measured) for glow in self._glows(photograph)):
            self._ask(photograph)
        for place, name in enumerate(names):
            self._do(
                "UPDATE samples SET name = ? WHERE measurement_id = ? AND place = ?", name, measurement, place
            )

    def _glows(self, photograph: int) -> set[str]:
        """Samples of known glow, by the settings of a photograph."""
        query = "SELECT s.told FROM photographs p JOIN settings s ON s.id = p.settings_id WHERE p.id = ?"
        given = json.loads(self._one(query, photograph)[0])
        return {name for name, _ in (*given["references"], *given.get(LIKELY, ()))}

    def _show(self, photograph: int) -> None:
        """Samples count where the photograph is not left out."""
        row = self._one(
            "SELECT m.id, p.left_out FROM photographs p JOIN measurements m ON m.photograph_id = p.id "
            "AND m.current = 1 WHERE p.id = ?", photograph,
        )  # fmt: skip
        if row is not None:
            self._shown(row[0], shown=row[1] == "")


def _place(name: str, names: Sequence[str]) -> int | None:
    return list(names).index(name) if name in names else None
