"""From the arguments of a command to the photographs meant."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


def photographs(paths: Sequence[Path], suffixes: Sequence[str]) -> list[Path]:
    """Files as given, folders as the photographs directly in them, by name; each once.

    An empty folder is a CannotReadError; a missing file is left for the decoder to report.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if not path.is_dir():
            found[path] = None
            continue
        inside = sorted(p for p in path.iterdir() if is_photograph(p, suffixes))
        if not inside:
            raise CannotReadError(
                f"{path}: a folder that holds no photographs; check its name, and what its files end in"
            )
        found.update(dict.fromkeys(inside))
    return list(found)


def one_a_shot(paths: Sequence[Path], raw_suffixes: Sequence[str]) -> list[Path]:
    """Of each shot saved both ways, as many cameras do, the raw file only; the rest as it is."""
    raw = {path.with_suffix("") for path in paths if path.suffix.lower() in raw_suffixes}
    return [p for p in paths if p.suffix.lower() in raw_suffixes or p.with_suffix("") not in raw]


def is_photograph(path: Path, suffixes: Sequence[str]) -> bool:
    """Files whose names begin with a dot are the system's own, such as copies of icons."""
    return path.suffix.lower() in suffixes and not path.name.startswith(".") and path.is_file()
