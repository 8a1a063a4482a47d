"""A preparation in words: tables for terminal, report and notebook, from records only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.telling.numbers import NOTHING, duration_unit, fixed, significant, with_interval
from glowkin.telling.tables import Table

if TYPE_CHECKING:
    from glowkin.base.preparations import Conversion, MassCourse, Preparation, Scaled, Substance, Yield
    from glowkin.base.records import Pair

CAUTION = (
    "Arithmetic, not a procedure. Solvents, bromides, manganese dust and volatile ligands are harmful: "
    "ventilate, wear gloves, collect metal waste; sealed vials build up pressure. Safety data sheets, local "
    "codes and licensed or supervised practice come first."
)


def preparation_tables(p: Preparation) -> list[Table]:
    """Every table that the preparation has something for."""
    tables = []
    if p.substances:
        tables.append(substances_table(p))
    if p.reaction_yield:
        tables.append(yield_table(p.reaction_yield))
    if p.scaled:
        tables.append(scaled_table(p.scaled))
    if p.conversions:
        tables.append(conversions_table(p.conversions))
    if p.course:
        tables.append(weighings_table(p.course))
    return tables


def substances_table(p: Preparation) -> Table:
    """One row a substance."""
    heads = (
        "Substance",
        "Role",
        "Formula",
        "Formula mass, g/mol",
        "Taken or found",
        "Amount, mmol",
        "Equivalents",
    )
    caption = p.title or "Preparation"
    note = (
        "Formula masses by the abridged standard atomic weights of 2021 (CIAAW); intervals are 95 %. "
        "Equivalents count from the reagent that limits."
    )
    if p.equation:
        note = f"{p.equation}. {note}"
    return Table(caption, heads, tuple(_substance_row(s) for s in p.substances), note)


def _substance_row(s: Substance) -> tuple[str, ...]:
    role = f"{s.role}, in excess" if s.in_excess else s.role
    taken = NOTHING
    if s.mass_g is not None:
        taken = f"{s.mass_g:.10g} g"
    elif s.volume_ml is not None:
        taken = f"{s.volume_ml:.10g} mL"
    amount = NOTHING
    if s.amount_mol is not None and s.amount_interval_mol is not None:
        amount = _value(1000.0 * s.amount_mol, _times(1000.0, s.amount_interval_mol), 4)
    equivalents = NOTHING if s.equivalents is None else significant(s.equivalents, 4)
    mass = _value(s.molar_mass_g_per_mol, s.molar_mass_interval_g_per_mol, 5)
    return s.name, role, s.formula, mass, taken, amount, equivalents


def _times(k: float, interval: Pair) -> Pair:
    return k * interval[0], k * interval[1]


def _value(value: float, interval: Pair, digits: int) -> str:
    """With its interval, or to so many figures where nothing is known of its error."""
    return with_interval(value, interval) if interval[1] > interval[0] else significant(value, digits)


def yield_table(y: Yield) -> Table:
    """What limits, what could come out and what did."""
    rows = [
        ("limiting reagent", " or ".join(y.limiting)),
        ("theoretical yield", f"{_value(y.theoretical_g, y.theoretical_interval_g, 4)} g"),
    ]
    if y.actual_g is not None and y.actual_interval_g is not None:
        rows.append(("yield", f"{_value(y.actual_g, y.actual_interval_g, 4)} g"))
    if y.percent is not None and y.percent_interval is not None:
        rows.append(("percent yield", f"{_value(y.percent, y.percent_interval, 3)} %"))
    if y.largest_error:
        rows.append(("most uncertain by", y.largest_error))
    note = (
        "Uncertainties of weighing, volume, purity and atomic weights, propagated (GUM); losses are not one."
    )
    return Table("Yield", ("what", "value"), tuple(rows), note)


def scaled_table(s: Scaled) -> Table:
    """What to take at the other size."""
    rows = tuple(
        (
            t["name"],
            f"{significant(t['mass_g'], 4)} g" if "mass_g" in t else f"{significant(t['volume_ml'], 4)} mL",
        )
        for t in s.take
    )
    note = "" if s.expected_g is None else f"By {s.basis}: {significant(s.expected_g, 3)} g of product."
    return Table(f"The same, {significant(s.factor, 4)} times the size", ("Substance", "Take"), rows, note)


def conversions_table(steps: tuple[Conversion, ...]) -> Table:
    """What each conversion should weigh."""
    heads: tuple[str, ...] = ("From", "To", "Gives off", "Mass change", "Of the first mass")
    rows = tuple(_conversion_row(c) for c in steps)
    if any(c.takes_up for c in steps):
        heads = (*heads[:3], "Takes up", *heads[3:])
        rows = tuple(
            (*row[:3], ", ".join(c.takes_up) or NOTHING, *row[3:]) for row, c in zip(rows, steps, strict=True)
        )
    return Table("Expected mass changes", heads, rows)


def _conversion_row(c: Conversion) -> tuple[str, ...]:
    return (
        c.from_formula, c.to_formula, ", ".join(c.gives_off) or NOTHING,
        percent_words(c.mass_change_percent), percent_words(c.of_start_percent),
    )  # fmt: skip


def percent_words(percent: float) -> str:
    """A change of mass, the loss below zero.

    >>> percent_words(-6.866)
    'loses 6.87 %'
    """
    verb = "loses" if percent < 0 else "gains"
    return f"{verb} {fixed(abs(percent), 2)} %"


def weighings_table(course: MassCourse) -> Table:
    """One row a weighing, the verdict below."""
    length, sign = duration_unit(max(p.time_s for p in course.points) or 1.0)
    heads = (f"Time, {sign}", "Net mass, g", "Converted by mass", "Converted by light", "Light minus mass")
    rows = tuple(
        (
            f"{significant(p.time_s / length, 3)}",
            _value(p.mass_g, p.mass_interval_g, 5),
            NOTHING if p.fraction_interval is None else _value(p.fraction_converted, p.fraction_interval, 3),
            NOTHING if p.light_fraction_converted is None
            else with_interval(p.light_fraction_converted, p.light_interval),
            NOTHING if p.difference is None else with_interval(p.difference, p.difference_interval),
        )
        for p in course.points
    )  # fmt: skip
    note = f"{course.sentence} Whole conversion: {percent_words(course.expected_percent)}."
    return Table(f"Weighings of {course.sample}", heads, rows, note)
