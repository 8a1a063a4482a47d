"""What a study file says, in place of the options that it makes needless. No science here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.study import StudyFile


def read(path: Path | None) -> StudyFile | None:
    """The study file, if one is given."""
    if path is None:
        return None
    from glowkin.study.study_file import read_study_file

    return read_study_file(path)


def options_of(study: StudyFile | None, path: Path | None, options: dict[str, Any]) -> dict[str, Any]:
    """The options of a measuring command; those not given are as the study file has them."""
    if study is None or path is None:
        return options
    told = {
        "names": None if options["outlines"] else study.names,
        "camera": _beside(path, study.camera.file),
        "filter": _filter(path, study),
        "references": tuple(f"{name}={glow}" for name, glow in study.references),
    }
    filled = {key: value for key, value in told.items() if value and not options.get(key)}
    return {**options, **filled, "study_file": path}


def _beside(study_file: Path, name: str) -> Path | None:
    """A file by its path from the study file."""
    return study_file.parent / name if name else None


def _filter(study_file: Path, study: StudyFile) -> Path | None:
    """The filter before the lens: a file, or of a name what a camera file knows by it."""
    from pathlib import Path as FilePath

    name = study.shot.filter
    if name and (study_file.parent / name).is_file():
        return study_file.parent / name
    return FilePath(name) if name and study.camera.file else None
