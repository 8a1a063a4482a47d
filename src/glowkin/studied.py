"""What a study file says, in place of the options that it makes needless. No science here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.study import StudyFile


def taken(path: Path | None, options: dict[str, Any]) -> tuple[StudyFile | None, dict[str, Any]]:
    """The study file, if one is given, and the options of a measuring command with what it stands in for.

    One that cannot be read is told among the errors of the command, and nothing is measured.
    """
    if path is None:
        return None, options
    from glowkin.study.study_file import check_files, located, read_study_file

    try:
        study = read_study_file(path)
        check_files(path, study, [key for key, value in options.items() if value])
    except CannotReadError as error:
        return None, {**options, "unread": [{"path": str(path), "message": str(error)}]}
    return located(study, path.parent), filled(study, path, options)


def filled(study: StudyFile, path: Path, options: dict[str, Any]) -> dict[str, Any]:
    """The options; those not given are as the study file has them."""
    from glowkin.study.study_file import known_glows

    told = {
        "names": None if options["outlines"] else study.names,
        "camera": _beside(path, study.camera.file),
        "filter": _filter(path, study),
        "references": tuple(f"{name}={glow}" for name, glow in known_glows(path.parent, study)),
    }
    stands_in = {key: value for key, value in told.items() if value and not options.get(key)}
    words = {key: getattr(study, key) for key in ("title", "author", "licence", "notes")}
    return {**options, **stands_in, "study_file": path, **words}


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
