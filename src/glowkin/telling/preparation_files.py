"""A preparation's folder: record, tables with units in their heads, and the figure."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from glowkin.base.files import folder_made, write_whole
from glowkin.telling.csv_file import csv_text

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.preparations import MassCourse, Preparation

SUBSTANCES_HEAD = (
    "name", "role", "formula", "coefficient (1)", "formula mass (g/mol)", "formula mass low 95 % (g/mol)",
    "formula mass high 95 % (g/mol)", "mass (g)", "volume (mL)", "amount (mol)", "amount low 95 % (mol)",
    "amount high 95 % (mol)", "equivalents (1)",
)  # fmt: skip
WEIGHINGS_HEAD = (
    "sample", "time (s)", "net mass (g)", "net mass low 95 % (g)", "net mass high 95 % (g)",
    "converted by mass (1)", "converted by mass low 95 % (1)", "converted by mass high 95 % (1)",
    "converted by light (1)", "converted by light low 95 % (1)", "converted by light high 95 % (1)",
    "light minus mass (1)", "light minus mass low 95 % (1)", "light minus mass high 95 % (1)",
)  # fmt: skip


def write_preparation(out: Path, preparation: Preparation, document: dict[str, Any]) -> None:
    """Write prep.json, substances.csv, and where the vial was weighed weighings.csv and its figure."""
    folder_made(out)
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
    write_whole(out / "prep.json", (text + "\n").encode())
    if preparation.substances:
        write_whole(out / "substances.csv", substances_csv(preparation).encode())
    if preparation.course:
        from glowkin.telling import drawing
        from glowkin.telling.mass_figure import mass_against_light

        write_whole(out / "weighings.csv", weighings_csv(preparation.course).encode())
        folder_made(out / "figures")
        figure = mass_against_light(preparation.course)
        for suffix in ("svg", "png"):
            drawing.save(figure, out / "figures" / f"mass_and_light.{suffix}")


def substances_csv(preparation: Preparation) -> str:
    """One row a substance."""
    rows = [
        (s.name, s.role, s.formula, s.coefficient, s.molar_mass_g_per_mol, *s.molar_mass_interval_g_per_mol,
         s.mass_g, s.volume_ml, s.amount_mol, *(s.amount_interval_mol or (None, None)), s.equivalents)
        for s in preparation.substances
    ]  # fmt: skip
    return csv_text(SUBSTANCES_HEAD, rows)


def weighings_csv(course: MassCourse) -> str:
    """One row a weighing."""
    none = (None, None)
    rows = [
        (course.sample, p.time_s, p.mass_g, *p.mass_interval_g, p.fraction_converted,
         *(p.fraction_interval or none), p.light_fraction_converted, *(p.light_interval or none),
         p.difference, *(p.difference_interval or none))
        for p in course.points
    ]  # fmt: skip
    return csv_text(WEIGHINGS_HEAD, rows)
