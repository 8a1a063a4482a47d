"""The preparation file, TOML: read as a whole, with everything that is wrong in it told at once."""

from __future__ import annotations

import tomllib
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    InstanceOf,
    ValidationError,
)

from glowkin.base.durations import moment_of, seconds_of
from glowkin.base.errors import CannotReadError
from glowkin.base.wrong_keys import told_keys
from glowkin.lab.formula import Formula, read_formula, read_several

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from glowkin.base.wrong_keys import Place

_LARGEST_FILE = 1_000_000
_SMALLEST, _LARGEST = 1e-9, 1e9


def _formula(read: Callable[[str], Formula]) -> BeforeValidator:
    def validate(text: object) -> Formula:
        if not isinstance(text, str):
            raise ValueError("must be text, such as 'MnBr2.4H2O'")  # noqa: TRY004 - told as a wrong value
        return read(text)

    return BeforeValidator(validate)


def _moment(value: object) -> float | datetime:
    """A time as seconds after the start, or as a date and time."""
    if (dated := moment_of(value)) is not None:
        return dated
    if isinstance(value, str) and (length := seconds_of(value)) is not None:
        return length
    if isinstance(value, int | float) and not isinstance(value, bool) and value == 0:
        return 0.0
    kind = "a date alone" if isinstance(value, date) else "a time alone" if isinstance(value, time) else "it"
    raise ValueError(f"must be a time after the start, such as '6h', or a date and time; {kind} is neither")


def _dated(value: object) -> datetime:
    if (dated := moment_of(value)) is None:
        raise ValueError("must be a date with a time of day, as 2026-05-04T13:30:00")
    return dated


def _sane(value: float) -> float:
    if value and not _SMALLEST <= value <= _LARGEST:
        raise ValueError(f"must be between {_SMALLEST:g} and {_LARGEST:g}")
    return value


def _named(text: str) -> str:
    if not text.strip():
        raise ValueError("must not be empty")
    return text.strip()


_NUMBER: Any = {"allow_inf_nan": False, "strict": True}
Positive = Annotated[float, Field(gt=0, **_NUMBER), AfterValidator(_sane)]
NotNegative = Annotated[float, Field(ge=0, **_NUMBER), AfterValidator(_sane)]
Percent = Annotated[float, Field(gt=0, le=100, **_NUMBER)]
Name = Annotated[str, AfterValidator(_named)]
OneFormula = Annotated[InstanceOf[Formula], _formula(read_formula)]
SomeFormula = Annotated[InstanceOf[Formula], _formula(read_several)]
Moment = Annotated[float | datetime, BeforeValidator(_moment)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Balance(_Table):
    """What the balance can do, g: repeatability (standard deviation), smallest step, linearity (a bound)."""

    repeatability_g: NotNegative = 0.0
    readability_g: NotNegative = 0.0
    linearity_g: NotNegative = 0.0


class Taking(_Table):
    """A substance with its formula and number in the equation."""

    name: Name
    formula: OneFormula
    coefficient: Positive = 1.0


class _Weighable(Taking):
    mass_g: Positive | None = None
    mass_uncertainty_g: NotNegative | None = None
    purity_percent: Percent = 100.0
    purity_uncertainty_percent: NotNegative | None = None


class Product(_Weighable):
    """What is prepared; ``mass_g`` once it is weighed."""


class Reagent(_Weighable):
    """What is taken: by mass, by volume and density, by volume and concentration, or in excess."""

    volume_ml: Positive | None = None
    volume_uncertainty_ml: NotNegative | None = None
    density_g_per_ml: Positive | None = None
    density_uncertainty_g_per_ml: NotNegative | None = None
    concentration_mol_per_l: Positive | None = None
    concentration_uncertainty_mol_per_l: NotNegative | None = None
    in_excess: Annotated[bool, Field(strict=True)] = False


class Solvent(_Table):
    """What takes no part; it is scaled with the rest."""

    name: Name
    volume_ml: Positive | None = None
    mass_g: Positive | None = None


class Step(_Table):
    """A conversion: one formula into another, with what leaves and what is taken up."""

    from_: Annotated[SomeFormula, Field(alias="from")]
    to: SomeFormula
    gives_off: tuple[SomeFormula, ...] = ()
    takes_up: tuple[SomeFormula, ...] = ()


class VialWeighed(_Table):
    """The vial that is weighed again and again."""

    sample: str = ""
    start: Annotated[datetime, BeforeValidator(_dated)] | None = None
    tare_g: Positive | None = None
    purity_percent: Percent = 100.0
    purity_uncertainty_percent: NotNegative | None = None
    agree_within: Annotated[float, Field(gt=0, le=0.5, **_NUMBER)] = 0.1


class Weighing(_Table):
    """One weighing: as the balance shows it, the tare still in where the vial has one."""

    time: Moment
    mass_g: Positive
    uncertainty_g: NotNegative | None = None


class PreparationFile(_Table):
    """A preparation file as it was read."""

    title: str = ""
    notes: str = ""
    balance: Balance | None = None
    reagent: tuple[Reagent, ...] = ()
    product: Product | None = None
    by_product: tuple[Taking, ...] = ()
    solvent: tuple[Solvent, ...] = ()
    conversion: tuple[Step, ...] = ()
    vial: VialWeighed = VialWeighed()
    weighing: tuple[Weighing, ...] = ()


def read_preparation(path: Path) -> PreparationFile:
    """What a preparation file says.

    Raises ``WrongFileError`` with every key that is wrong: its path, what is allowed, the nearest there is.
    """
    from glowkin.lab.contradictions import Sound, amount_sentences, contradictions

    row = _toml(path)
    wrong: list[str] = []
    unknown: set[Place] = set()
    broken: set[Place] = set()
    try:
        told = PreparationFile.model_validate(row)
    except ValidationError as error:
        wrong = told_keys(error, PreparationFile)
        broken = {_entry(e["loc"]) for e in error.errors()}
        unknown = {_entry(e["loc"]) for e in error.errors() if e["type"] == "extra_forbidden"}
        told = PreparationFile.model_validate(_without(row, broken))
    wrong += amount_sentences(row, unknown)
    wrong += contradictions(row, Sound(told, frozenset(broken)))
    if wrong:
        raise WrongFileError(path, wrong)
    return told


def _entry(place: Place) -> Place:
    """The entry of a list, or the table, that a key stands in."""
    return place[:2] if len(place) > 1 and isinstance(place[1], int) else place[:1]


def _without(row: dict[str, Any], broken: set[Place]) -> dict[str, Any]:
    """What a file says less the entries and tables that something is wrong in."""
    return {
        key: [v for i, v in enumerate(value) if (key, i) not in broken] if isinstance(value, list) else value
        for key, value in row.items()
        if (key,) not in broken
    }


class WrongFileError(CannotReadError):
    """A file with things to correct: a sentence each in ``sentences``, all of them in the message."""

    def __init__(self, path: Path, sentences: list[str]) -> None:
        self.sentences = sentences
        many = "1 thing" if len(sentences) == 1 else f"{len(sentences)} things"
        super().__init__("\n  ".join([f"{path}: {many} to correct:", *sentences]))


def _toml(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise CannotReadError(f"{path}: is too large for a preparation file; name the TOML file")
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except IsADirectoryError:
        raise CannotReadError(f"{path}: is a folder; name the preparation file in it") from None
    except (OSError, ValueError, RecursionError) as error:
        raise CannotReadError(f"{path}: is no TOML that can be read ({error}); correct it") from None
