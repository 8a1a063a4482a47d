"""Where the figures come from: photographs, flags and settings as rows of words for the report."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING, Any

from glowkin.base.flags import FLAGS, Flag
from glowkin.telling.naming import base_name, without_folders
from glowkin.telling.numbers import NOTHING
from glowkin.telling.tables import Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse

GRAVITY = (
    "shows-a-chart",
    "merged-by-phone",
    "edited-file",
    "clipped",
    "colour-from-bounds",
    "colour-not-told",
    "automatic-white-balance",
    "out-of-gamut",
    "glowing-background",
    "lamp-leakage",
    "rendered-file",
    "room-light",
    "frame-left-out",
    "lamp-off-mismatch",
    "bracket-disagrees",
    "maybe-swapped",
    "put-elsewhere",
    "vanished",
    "late-sample",
    "rests-on-one-photo",
    "spoiled-frame",
    "other-filter",
    "other-camera",
    "camera-unlike-prior",
    "reference-off",
    "form-contradicted",
    "light-is-not-amount",
    "lamp-not-steadied",
    "lamp-by-violet",
    "condition-changed",
    "lamp-changed",
    "control-fades",
    "across-lamps",
    "across-filters",
    "across-states",
    "no-start-time",
    "single-vial",
    "across-temperatures",
    "beyond-temperatures",
    "uneven-sample",
    "lit-by-neighbour",
    "underexposed",
    "no-profile",
    "time-missing",
    "edge-of-frame",
    "exposure-changed",
    "arrangement-moved",
    "not-a-single-band",
    "moved",
    "no-sample",
    "white-balance-changed",
    "metadata-stripped",
    "fogged",
    "flicker-banding",
    "out-of-focus",
    "shaken",
    "noisy",
    "brightness-range",
    "sample-too-small",
    "lamp-hot-spot",
    "vignetting",
    "spectrum-cut-off",
    "spectrum-below-zero",
    "spectrum-coarse",
)
"""Flags, the one that endangers a conclusion most first."""


_SEVERAL = 3
MOST_LISTED = 1000
"""Photographs that a report lists; of more the first and the last half as many."""


@dataclass(frozen=True)
class FlagRow:
    """A flag and where it was raised."""

    flag: Flag
    where: str


def photos_table(photos: Sequence[MeasuredPhoto], names: dict[str, str]) -> Table:
    """The files, how they were taken, and the hash that tells them from any other; of very many the first and
    the last.
    """
    heads = ("Photograph", "Taken", "Exposure", "ISO", "Aperture", "Kind", "Camera description", "SHA-256")
    listed = list(range(len(photos)))
    if len(photos) > MOST_LISTED:
        listed = listed[: MOST_LISTED // 2] + listed[-MOST_LISTED // 2 :]
    rows = tuple(_photo_row(p, names[p.path]) for p in (photos[i] for i in listed))
    table = _told_once(Table("Photographs", heads, rows))
    if len(rows) == len(photos):
        return table
    left = f"The first and the last {MOST_LISTED // 2} of {len(photos)} photographs; the records hold all."
    return replace(table, note=f"{left} {table.note}".strip())


def _told_once(table: Table) -> Table:
    """The table with what is the same in every row said below it; times and hashes stay."""
    if len(table.rows) < _SEVERAL:
        return table
    same = [i for i in range(2, len(table.heads) - 1) if len({row[i] for row in table.rows}) == 1]
    said = ", ".join(
        f"{table.heads[i].lower()} {table.rows[0][i]}" for i in same if table.rows[0][i] != NOTHING
    )
    kept = [i for i in range(len(table.heads)) if i not in same]
    rows = tuple(tuple(row[i] for i in kept) for row in table.rows)
    note = f"The same for all: {said.replace('iso ', 'ISO ')}." if said else ""
    return Table(table.caption, tuple(table.heads[i] for i in kept), rows, note)


def _photo_row(p: MeasuredPhoto, name: str) -> tuple[str, ...]:
    return (
        name,
        (p.taken_at or "unknown").replace("T", " "),
        _exposure(p.exposure_s),
        NOTHING if p.iso is None else f"{p.iso:g}",
        NOTHING if p.f_number is None else f"f/{p.f_number:g}",
        {"raw": "raw", "rendered": "developed by the camera"}.get(p.kind, p.kind),
        camera_words(p),
        p.sha256,
    )


def camera_words(p: MeasuredPhoto) -> str:
    """The camera description's name and what it rests on."""
    name = str(without_folders(p.camera.name))
    return name if name == p.camera.basis else f"{name} ({p.camera.basis.replace('-', ' ')})"


def exposure_words(p: MeasuredPhoto) -> str:
    """Time, ISO and aperture, as far as the file tells them."""
    time = "" if p.exposure_s is None else _exposure(p.exposure_s)
    parts = (
        time,
        "" if p.iso is None else f"ISO {p.iso:g}",
        "" if p.f_number is None else f"f/{p.f_number:g}",
    )
    return ", ".join(part for part in parts if part)


def _exposure(seconds: float | None) -> str:
    if seconds is None:
        return NOTHING
    return f"1/{1 / seconds:.0f} s" if seconds < 0.3 else f"{seconds:g} s"


def flag_rows(
    photos: Sequence[MeasuredPhoto], course: TimeCourse | None, pairs: Sequence[Comparison] = ()
) -> list[FlagRow]:
    """Every flag raised, gravest first, with the places that raised it."""
    places: dict[str, dict[str, None]] = {}
    between = ((f"{c.a.name} and {c.b.name}", c.flags) for c in pairs)
    for where, names in chain(_raised(photos, course), between):
        for name in names:
            places.setdefault(name, {})[where] = None
    order = {name: i for i, name in enumerate(GRAVITY)}
    known = sorted((n for n in places if n in FLAGS), key=lambda n: order.get(n, len(order)))
    return [FlagRow(FLAGS[n], _few(list(places[n]))) for n in known]


def _raised(
    photos: Sequence[MeasuredPhoto], course: TimeCourse | None
) -> Iterator[tuple[str, tuple[str, ...]]]:
    for p in photos:
        yield base_name(p.path), p.flags
        yield from ((s.name, s.flags) for s in p.samples)
    for followed in course.samples if course else ():
        yield followed.name, followed.flags
        yield from ((followed.name, point.flags) for point in followed.points)
    if course is None:
        return
    yield from ((s.name, s.flags) for s in course.storages)
    compared = course.storage_comparisons or course.comparisons
    yield from ((f"{c.a} against {c.b}", c.flags) for c in compared)
    yield "the whole series", course.flags


def _few(places: list[str], most: int = 6) -> str:
    rest = len(places) - most
    return ", ".join(places[:most]) + (f" and {rest} more" if rest > 0 else "")


def settings_rows(settings: dict[str, Any]) -> list[tuple[str, str]]:
    """Settings as words, empty ones left out."""
    return [
        (k.replace("_", " "), _plain(without_folders(v)))
        for k, v in settings.items()
        if v not in (None, "", ())
    ]


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{k} {_plain(v)}" for k, v in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(_plain(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
