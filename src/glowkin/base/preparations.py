"""Records of the lab side: what was weighed in, what came out, and what a conversion should weigh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from glowkin.base.html_table import table_html
from glowkin.base.records import Pair, Row, to_json

SUBSTANCE_COLUMNS = ("name", "role", "formula", "molar_mass_g_per_mol", "amount_mol", "equivalents")
WEIGHED_COLUMNS = ("time_s", "mass_g", "fraction_converted", "light_fraction_converted", "difference")


@dataclass(frozen=True)
class Remark:
    """Something to mind: its ``cause`` in few words that stay the same, and a sentence with the mend."""

    cause: str
    sentence: str


@dataclass(frozen=True)
class Substance:
    """One substance of a preparation: ``role`` is reagent, product or by-product.

    Elements and charge are those of one formula unit. ``equivalents`` are to the reagent that limits.
    Fields are None where the file does not tell them.
    """

    name: str
    role: str
    formula: str
    elements: dict[str, float]
    charge: int
    coefficient: float
    molar_mass_g_per_mol: float
    molar_mass_interval_g_per_mol: Pair
    mass_g: float | None = None
    volume_ml: float | None = None
    amount_mol: float | None = None
    amount_interval_mol: Pair | None = None
    equivalents: float | None = None
    in_excess: bool = False


@dataclass(frozen=True)
class Yield:
    """What could come out and what did. ``limiting`` names the reagent that limits, or those of which it
    cannot be told which does; ``largest_error`` the input that adds most to the uncertainty of the percent.
    """

    limiting: tuple[str, ...]
    theoretical_g: float
    theoretical_interval_g: Pair
    actual_g: float | None = None
    actual_interval_g: Pair | None = None
    percent: float | None = None
    percent_interval: Pair | None = None
    largest_error: str = ""


@dataclass(frozen=True)
class Scaled:
    """The same at another size: the factor, what it rests on, the product to expect, and what to take.

    ``take`` holds for each reagent and solvent its name and one of ``mass_g`` and ``volume_ml``.
    """

    factor: float
    basis: str
    expected_g: float | None
    take: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class Conversion:
    """What one formula unit loses (below 0) or gains in turning into the next.

    ``mass_change_percent`` is of the mass that this step starts with, ``of_start_percent`` of the mass that
    the first step starts with.
    """

    from_formula: str
    to_formula: str
    gives_off: tuple[str, ...]
    takes_up: tuple[str, ...]
    mass_change_percent: float
    mass_change_interval_percent: Pair
    of_start_percent: float
    of_start_interval_percent: Pair


@dataclass(frozen=True)
class Weighed:
    """One weighing: net mass, the fraction converted by it, and the light's at the same time.

    ``difference`` is light minus mass: above 0 where mass lags. Intervals are 95 %.
    """

    time_s: float
    mass_g: float
    mass_interval_g: Pair
    fraction_converted: float
    fraction_interval: Pair | None
    light_fraction_converted: float | None = None
    light_interval: Pair | None = None
    difference: float | None = None
    difference_interval: Pair | None = None


@dataclass(frozen=True)
class LightPoint:
    """The light's fraction converted in one photograph."""

    time_s: float
    fraction_converted: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class MassCourse:
    """A vial weighed over time, beside its light where a track record was given.

    ``verdict``: "mass lags light", "mass leads light", "agree", "cannot tell", or "no light" without one;
    ``sentence`` says what that means. ``agree_within`` is the difference in fraction that does not matter.
    """

    sample: str
    verdict: str
    sentence: str
    expected_percent: float
    agree_within: float
    points: tuple[Weighed, ...]
    light: tuple[LightPoint, ...] = ()

    def _repr_html_(self) -> str:
        return table_html([to_json(p) for p in self.points], WEIGHED_COLUMNS)


@dataclass(frozen=True)
class Preparation:
    """A preparation, reckoned through. Fields are None or empty where the file does not ask for them."""

    title: str
    notes: str
    equation: str
    substances: tuple[Substance, ...]
    reaction_yield: Yield | None = None
    scaled: Scaled | None = None
    conversions: tuple[Conversion, ...] = ()
    course: MassCourse | None = None
    remarks: tuple[Remark, ...] = ()

    def rows(self) -> list[Row]:
        """One plain row a substance."""
        return [to_json(s) for s in self.substances]

    def _repr_html_(self) -> str:
        return table_html(self.rows(), SUBSTANCE_COLUMNS)


def prep_document(
    preparation: Preparation | None, errors: Any, program: str, source: dict[str, str] | None = None
) -> Row:
    """The glowkin.prep.v1 document; ``source`` names the file by name and hash."""
    return {
        "schema": "glowkin.prep.v1",
        "program": program,
        "errors": list(errors),
        "source": source,
        "preparation": None if preparation is None else to_json(preparation),
    }
