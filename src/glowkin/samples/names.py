"""What the samples of a photograph are called, and which of them have a known glow."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.names import broken

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from glowkin.base.settings import Settings


SEE_WHICH = (
    "see the annotated photograph of glowkin measure --out, or give --outlines; in a study give names or "
    "outlines with: glowkin study edit"
)


def given_words(count: int, kind: str = "") -> str:
    """That so many names were given.

    >>> given_words(1), given_words(2, "different ")
    ('1 name was given', '2 different names were given')
    """
    return "1 name was given" if count == 1 else f"{count} {kind}names were given"


def names_of(settings: Settings, found: int, path: Path) -> list[str]:
    """The names given in reading order, failing that those likely, or S1, S2, ...

    ``WrongUseError`` where a name is given twice, ``CannotMeasureError`` where the count differs.
    """
    given, likely = settings.names, settings.likely.names
    if not given:
        return list(likely) if likely and len(likely) == found else [f"S{i}" for i in range(1, found + 1)]
    check_given(given)
    if len(given) != found:
        raise CannotMeasureError(
            f"{path}: {given_words(len(given))}, {found} samples were found; {SEE_WHICH}"
        )
    return list(given)


def check_given(names: Sequence[str]) -> None:
    """``WrongUseError`` where a name is given twice, or holds a line break or the like."""
    twice = [name for i, name in enumerate(names) if name in names[:i]]
    if twice:
        raise WrongUseError(f"--names: {twice[0]} is there twice; every name must be given once only")
    if odd := broken(names):
        raise WrongUseError(f"--names: {odd}; leave it out")


def references_of(settings: Settings, names: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """The references given, and those likely that are there."""
    return (*settings.references, *(one for one in settings.likely.references if one[0] in names))
