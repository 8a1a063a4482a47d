"""What a conversion should weigh: 'loses two waters, 6.87 %'."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.base.preparations import Conversion
from glowkin.lab.budget import carried
from glowkin.lab.weights import formula_mass, weight_inputs

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.lab.preparation_file import Step


def conversions(steps: Sequence[Step]) -> tuple[Conversion, ...]:
    """Every step, alone and as a share of the mass that the first one starts with."""
    inputs = weight_inputs(f for step in steps for f in (step.from_, step.to))
    figures = carried(lambda x: _changes(steps, x), inputs)
    return tuple(
        Conversion(
            step.from_.text, step.to.text, tuple(f.text for f in step.gives_off),
            tuple(f.text for f in step.takes_up), figures[f"own {i}"].value, figures[f"own {i}"].interval,
            figures[f"start {i}"].value, figures[f"start {i}"].interval,
        )
        for i, step in enumerate(steps)
    )  # fmt: skip


def mass_change(step: Step, x: Mapping[str, float]) -> float:
    """Change of mass over the mass of the start, below 0 for a loss, from inputs by name."""
    start = formula_mass(step.from_, x)
    return (formula_mass(step.to, x) - start) / start


def _changes(steps: Sequence[Step], x: Mapping[str, float]) -> dict[str, float]:
    """Percent by step: of its own start, and of the first start that leads to it without a gap."""
    out: dict[str, float] = {}
    share = 1.0
    for i, step in enumerate(steps):
        follows = i > 0 and dict(step.from_.elements) == dict(steps[i - 1].to.elements)
        share = share * (1.0 + out[f"own {i - 1}"] / 100.0) if follows else 1.0
        out[f"own {i}"] = 100.0 * mass_change(step, x)
        out[f"start {i}"] = share * out[f"own {i}"]
    return out
