"""The study file, TOML: read as a whole, with everything that is wrong in it told at once."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from glowkin.base.errors import CannotReadError, GlowkinError
from glowkin.base.names import broken, split_temperature
from glowkin.base.study import StudyFile
from glowkin.base.wrong_keys import entries, key_path, nearest_words, told_keys

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator
    from pathlib import Path

_TABLES = (".csv", ".txt", ".tsv", ".dat")
STUDY_FILE = "study.toml"
"""The name of the study file in a study's folder."""
_NAMED = ("lamp", "form", "batch", "condition", "sample")
"""Lists whose entries have names, each of them once."""
_POINTS = (
    ("sample", "form", "form"),
    ("sample", "batch", "batch"),
    ("sample", "condition", "condition"),
    ("batch", "form", "form"),
    ("photograph", "lamp", "lamp"),
    ("event", "lamp", "lamp"),
)
"""Of the entries of a list, the key that names an entry of another list."""


def read_study_file(path: Path) -> StudyFile:
    """What a study file says.

    Raises ``CannotReadError`` with every key that is wrong: its path, what is allowed, the nearest there is.
    """
    try:
        row = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except IsADirectoryError:
        raise CannotReadError(f"{path}: is a folder; name the study file in it") from None
    except (OSError, ValueError, RecursionError) as error:
        raise CannotReadError(f"{path}: is no TOML that can be read ({error}); correct it") from None
    wrong: list[str] = []
    study = StudyFile()
    try:
        study = TypeAdapter(StudyFile).validate_python(row)
    except ValidationError as error:
        wrong = told_keys(error, StudyFile)
    wrong += _contradictions(row)
    if wrong:
        raise CannotReadError(_all_words(path, wrong))
    return study


def study_file_in(folder: Path) -> StudyFile | None:
    """What the study file in a study's folder says; ``None`` where there is none."""
    path = folder / STUDY_FILE
    return read_study_file(path) if path.exists() else None


def check_files(path: Path, study: StudyFile, given: Collection[str] = ()) -> None:
    """See that what a study file names to measure with can be read: camera file, filter, known glows.

    ``given`` are options that stand in for some. Raises ``CannotReadError`` with all that is wrong.
    """
    from glowkin.camera.camera_file import CameraFile
    from glowkin.camera.filter import read_filter
    from glowkin.camera.glows import known_glow

    folder, wrong = path.parent, list[str]()

    def see(key: str, read: Callable[[], object]) -> None:
        try:
            read()
        except GlowkinError as error:
            wrong.append(f"{key}: {str(error).removeprefix('--reference ')}")

    if study.camera.file and "camera" not in given:
        see("camera.file", lambda: CameraFile.load(folder / study.camera.file))
    if study.shot.filter and "filter" not in given and _is_file(folder, study.shot.filter):
        see("shot.filter", lambda: read_filter(folder / study.shot.filter))
    for i, sample in enumerate(study.sample if "references" not in given else ()):
        if sample.reference:
            glow = _from_folder(folder, sample.reference)
            see(key_path(("sample", i, "reference")), partial(known_glow, glow))
    if wrong:
        raise CannotReadError(_all_words(path, wrong, mend=""))


def _is_file(folder: Path, name: str) -> bool:
    """Whether a filter is meant as a file, not as a name that a camera file knows."""
    return (folder / name).exists() or name.lower().endswith(_TABLES)


def known_glows(folder: Path, study: StudyFile) -> tuple[tuple[str, str], ...]:
    """Samples of known glow with what that is: a file is found from the study file's folder."""
    return tuple((name, _from_folder(folder, glow)) for name, glow in study.references)


def located(study: StudyFile, folder: Path) -> StudyFile:
    """The same with the files of its forms found from the study file's folder."""
    old, new = (_from_folder(folder, told) for told in (study.old_form, study.new_form))
    return replace(study, old_form=old, new_form=new)


def _from_folder(folder: Path, glow: str) -> str:
    file, colon, form = glow.partition(":")
    return f"{folder / file}{colon}{form}" if (folder / file).is_file() else glow


def _all_words(path: Path, wrong: list[str], mend: str = "; correct it") -> str:
    if len(wrong) == 1:
        return f"{path}: {wrong[0]}{mend}"
    return "\n  ".join([f"{path}: {len(wrong)} things to correct:", *wrong])


def _contradictions(row: dict[str, Any]) -> Iterator[str]:
    """Names given twice, and names of what is not listed; of a file that may be wrong in other ways too."""
    names = {
        sort: [n for _, e in entries(row, sort) if isinstance(n := e.get("name"), str)] for sort in _NAMED
    }
    for sort in _NAMED:
        seen: set[object] = set()
        for i, entry in entries(row, sort):
            name = str(entry.get("name", f"[{i}]"))
            if name in seen:
                yield f"{key_path((sort, i, 'name'))}: {name!r} is listed twice; give each its own name"
            seen.add(name)
            if sort == "sample" and (odd := broken([name])):
                yield f"{key_path((sort, i, 'name'))}: {odd}"
    for sort, key, other in _POINTS:
        for i, entry in entries(row, sort):
            yield from _unlisted((sort, i, key), entry.get(key), other, names[other])
    shot = row.get("shot")
    if isinstance(shot, dict):
        yield from _unlisted(("shot", "lamp"), shot.get("lamp"), "lamp", names["lamp"])
    for key in ("controls", "converted", "blanks"):
        yield from _unlisted_all((key,), row.get(key), names["sample"])
    for i, entry in entries(row, "event"):
        yield from _unlisted_all(("event", i, "samples"), entry.get("samples"), names["sample"])
    yield from _both(row)
    yield from _two_temperatures(row)


def _unlisted(place: tuple[int | str, ...], value: object, other: str, there: list[str]) -> Iterator[str]:
    if isinstance(value, str) and value and value not in there:
        yield f"{key_path(place)}: no [[{other}]] is named {value!r}; {nearest_words(value, there)}"


def _unlisted_all(place: tuple[int | str, ...], values: object, there: list[str]) -> Iterator[str]:
    for i, value in enumerate(values if isinstance(values, list) else ()):
        yield from _unlisted((*place, i), value, "sample", there)


def _both(row: dict[str, Any]) -> Iterator[str]:
    """Samples that would have to change and not to change."""
    controls, converted, blanks = (
        [v for v in row[key] if isinstance(v, str)] if isinstance(row.get(key), list) else []
        for key in ("controls", "converted", "blanks")
    )
    for name in dict.fromkeys(controls):
        for key, others in (("converted", converted), ("blanks", blanks)):
            if name in others:
                yield f"controls: {name!r} is among {key} too; a control glows and does not change"


def _two_temperatures(row: dict[str, Any]) -> Iterator[str]:
    """Conditions whose name tells one temperature and whose key another."""
    for i, entry in entries(row, "condition"):
        name, told = entry.get("name"), entry.get("temperature_c")
        read = split_temperature(name)[1] if isinstance(name, str) else None
        if read is not None and isinstance(told, int | float) and abs(told - read) > 0.5:
            key = key_path(("condition", i, "temperature_c"))
            yield f"{key}: is {told:g}, the name {name!r} says {read:g}"
