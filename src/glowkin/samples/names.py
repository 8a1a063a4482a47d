"""What the samples of a photograph are called, and which of them have a known glow."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.base.errors import CannotMeasureError, WrongUseError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from glowkin.base.settings import Settings


def names_of(settings: Settings, found: int, path: Path) -> list[str]:
    """The names given in reading order, failing that those likely, or S1, S2, ...

    ``WrongUseError`` where a name is given twice, ``CannotMeasureError`` where the count differs.
    """
    given, likely = settings.names, settings.likely.names
    if not given:
        return list(likely) if likely and len(likely) == found else [f"S{i}" for i in range(1, found + 1)]
    if len(set(given)) != len(given):
        raise WrongUseError("--names: every name must be given once only")
    if len(given) != found:
        raise CannotMeasureError(
            f"{path}: {len(given)} names were given, {found} samples were found; "
            "see the annotated photograph of --out, or give --outlines"
        )
    return list(given)


def references_of(settings: Settings, names: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """The references given, and those likely that are there."""
    return (*settings.references, *(one for one in settings.likely.references if one[0] in names))
