"""How to measure, as the ledger keeps it: files by content, so that it can be done again anywhere.

Names and outlines are not among it: they belong to each photograph.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import CannotReadError
from glowkin.base.settings import FRAME_KINDS, Likely, Settings
from glowkin.study.pictures import Picture, seen

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


LIKELY = "likely_references"
"""The key of samples that have a known glow where they are, as a study file tells."""


@dataclass(frozen=True)
class File:
    """A camera file, a filter, a known glow or known forms."""

    name: str
    sha256: str
    content: bytes

    @property
    def told(self) -> dict[str, str]:
        """By its name and hash, as settings and conclusions tell of it."""
        return {"name": self.name, "sha256": self.sha256}


def file_of(name: str, content: bytes) -> File:
    """A file by its content."""
    return File(name, hashlib.sha256(content).hexdigest(), content)


@dataclass
class Way:
    """Settings as plain names and hashes, with the files and frames that these stand for."""

    told: dict[str, Any]
    files: list[File] = field(default_factory=list)
    frames: list[Picture] = field(default_factory=list)

    @property
    def text(self) -> str:
        """The same settings always give the same text."""
        return canonical(self.told)


def canonical(told: Mapping[str, Any]) -> str:
    """JSON with sorted keys."""
    return json.dumps(told, sort_keys=True, ensure_ascii=False, allow_nan=False)


def way_of(settings: Settings, folder: Path) -> Way:
    """What the ledger keeps of settings; every file they name is read and checked."""
    way = Way({"white_point": settings.white_point, "observer": settings.observer})
    for kind in FRAME_KINDS:
        frames = [seen(Path(path), folder) for path in getattr(settings, kind)]
        way.frames += frames
        way.told[kind] = [frame.sha256 for frame in frames]
    way.told["camera"] = None if settings.camera is None else _kept(way, Path(settings.camera))
    way.told["filter"] = None if settings.filter is None else _kept_filter(way, Path(settings.filter))
    way.told["references"] = [[name, _kept_glow(way, kind)] for name, kind in settings.references]
    if settings.likely.references:
        way.told[LIKELY] = [[name, _kept_glow(way, kind)] for name, kind in settings.likely.references]
    return way


def settings_of(
    told: Mapping[str, Any],
    frame: Callable[[str], Path],
    file: Callable[[str], Path],
    names: tuple[str, ...] = (),
    outlines: tuple[tuple[tuple[float, float], ...], ...] | None = None,
    likely: tuple[str, ...] = (),
) -> Settings:
    """The settings again; ``frame`` and ``file`` answer where the content of a hash is to be had.

    ``likely`` are the names of samples as a rule.
    """
    frames = (tuple(frame(sha256) for sha256 in told[kind]) for kind in FRAME_KINDS)
    off, dark, even, nothing = frames
    camera, behind = (_path(told[key], file) for key in ("camera", "filter"))
    given, as_a_rule = (
        tuple((name, _glow(glow, file)) for name, glow in told.get(key, ())) for key in ("references", LIKELY)
    )
    white, observer = told["white_point"], told["observer"]
    return Settings(
        white, observer, names, outlines, off, dark, even, nothing, camera, behind, references=given,
        likely=Likely(likely, as_a_rule),
    )  # fmt: skip


def _kept(way: Way, path: Path) -> dict[str, str]:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise CannotReadError(
            f"{path}: cannot be read ({error.strerror}); check the name and the folder"
        ) from error
    file = file_of(path.name, content)
    way.files.append(file)
    return file.told


def _kept_filter(way: Way, given: Path) -> dict[str, str]:
    """A filter is a file, or a bare name."""
    return _kept(way, given) if given.is_file() else {"name": str(given)}


def _kept_glow(way: Way, kind: str) -> dict[str, str]:
    """A known glow is a name, a file, or a form of a file."""
    path, _, form = kind.rpartition(":") if ".json:" in kind.lower() else (kind, "", "")
    if not Path(path).is_file():
        return {"name": kind}
    return {**_kept(way, Path(path)), **({"form": form} if form else {})}


def _path(told: Mapping[str, str] | None, file: Callable[[str], Path]) -> Path | None:
    if told is None:
        return None
    return file(told["sha256"]) if "sha256" in told else Path(told["name"])


def _glow(told: Mapping[str, str], file: Callable[[str], Path]) -> str:
    if "sha256" not in told:
        return told["name"]
    return f"{file(told['sha256'])}:{told['form']}" if "form" in told else str(file(told["sha256"]))
