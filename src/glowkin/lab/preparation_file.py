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
    model_validator,
)

from glowkin.base.durations import moment_of, seconds_of
from glowkin.base.errors import CannotReadError
from glowkin.base.wrong_keys import told_keys
from glowkin.lab.formula import Formula, read_formula, read_several

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_LARGEST_FILE = 1_000_000
_SMALLEST, _LARGEST = 1e-9, 1e9
UNCERTAINTY_OF = {
    "volume_ml": "volume_uncertainty_ml",
    "density_g_per_ml": "density_uncertainty_g_per_ml",
    "concentration_mol_per_l": "concentration_uncertainty_mol_per_l",
}
"""Of the keys that tell a reagent's amount but for its mass, that of the standard uncertainty."""


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

    @model_validator(mode="after")
    def _uncertainties_belong(self) -> Any:
        if self.mass_uncertainty_g is not None and self.mass_g is None:
            raise ValueError("mass_uncertainty_g without mass_g; give the mass, or leave it out")
        return self


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

    @model_validator(mode="after")
    def _one_amount(self) -> Any:
        by_mass, by_volume = self.mass_g is not None, self.volume_ml is not None
        if by_mass and by_volume:
            raise ValueError("has both mass_g and volume_ml; give the one that was measured")
        kinds = (self.density_g_per_ml is not None) + (self.concentration_mol_per_l is not None)
        if by_volume and kinds != 1:
            raise ValueError("volume_ml needs one of density_g_per_ml and concentration_mol_per_l")
        if kinds and not by_volume:
            raise ValueError("a density or concentration needs volume_ml")
        if not (by_mass or by_volume or self.in_excess):
            raise ValueError("has no amount; give mass_g or volume_ml, or in_excess = true")
        if self.concentration_mol_per_l is not None and self.purity_percent != 100.0:
            raise ValueError("a concentration counts the substance itself; leave purity_percent out")
        for name, uncertainty in UNCERTAINTY_OF.items():
            if getattr(self, uncertainty) is not None and getattr(self, name) is None:
                raise ValueError(f"{uncertainty} without {name}; give both")
        return self


class Solvent(_Table):
    """What takes no part; it is scaled with the rest."""

    name: Name
    volume_ml: Positive | None = None
    mass_g: Positive | None = None

    @model_validator(mode="after")
    def _one(self) -> Any:
        if (self.volume_ml is None) == (self.mass_g is None):
            raise ValueError("needs one of volume_ml and mass_g")
        return self


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
    row = _toml(path)
    try:
        told = PreparationFile.model_validate(row)
    except ValidationError as error:
        broken = {str(e["loc"][0]) for e in error.errors()}
        rest = PreparationFile.model_validate({key: value for key, value in row.items() if key not in broken})
        raise WrongFileError(
            path, told_keys(error, PreparationFile) + _contradictions(rest, broken)
        ) from None
    if wrong := _contradictions(told, set()):
        raise WrongFileError(path, wrong)
    return told


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


def _contradictions(told: PreparationFile, broken: set[str]) -> list[str]:
    """What no key is wrong in alone; of the parts that are not ``broken``, which ``told`` goes without."""
    from glowkin.lab.equation import no_change_sentences, step_sentences, supply_sentences

    wrong: list[str] = []
    listed: list[Taking | Solvent] = [*told.reagent, *told.by_product, *told.solvent]
    names = [s.name for s in listed]
    names += [told.product.name] if told.product else []
    wrong += [f"{name!r} is named twice; give each its own name" for name in _twice(names)]
    if not (broken or told.reagent or told.product or told.by_product or told.conversion):
        wrong.append("the file names no substance; give [[reagent]], [product] or [[conversion]]")
    wrong += [] if broken & {"reagent", "product", "by_product"} else supply_sentences(told)
    wrong += step_sentences(told.conversion)
    wrong += no_change_sentences(told.conversion) if told.weighing else []
    wrong += _weighing_sentences(told, conversion_known="conversion" not in broken)
    return wrong


def _twice(names: list[str]) -> list[str]:
    return [n for n in dict.fromkeys(names) if names.count(n) > 1]


def _weighing_sentences(told: PreparationFile, *, conversion_known: bool) -> list[str]:
    if not told.weighing:
        return []
    wrong = []
    if conversion_known and not told.conversion:
        wrong.append("weighing: give the [[conversion]] that the weighings follow")
    if len(told.weighing) < 2:
        wrong.append("weighing: one says nothing of a change; give at least two")
    dated = [isinstance(w.time, datetime) for w in told.weighing]
    if any(dated) and not all(dated):
        wrong.append("weighing: give all times after the start, such as '6h', or all as date and time")
    elif all(dated):
        wrong += _zone_sentences(told)
    tare = told.vial.tare_g
    if tare is not None:
        wrong += [
            f"weighing[{i}].mass_g: {w.mass_g:g} g is not above the tare, {tare:g} g"
            for i, w in enumerate(told.weighing, 1)
            if w.mass_g <= tare
        ]
    return wrong


def _zone_sentences(told: PreparationFile) -> list[str]:
    times = [w.time for w in told.weighing if isinstance(w.time, datetime)]
    times += [told.vial.start] if told.vial.start else []
    if len({t.tzinfo is None for t in times}) > 1:
        return ["weighing: some times have a zone and some have none; write all alike"]
    start = told.vial.start
    if start is not None:
        return [
            f"weighing[{i}].time: {w.time} is before vial.start, {start}"
            for i, w in enumerate(told.weighing, 1)
            if isinstance(w.time, datetime) and w.time < start
        ]
    return []
