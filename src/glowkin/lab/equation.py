"""Whether an equation balances, element by element."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from glowkin.lab.formula import Formula
    from glowkin.lab.preparation_file import PreparationFile, Step, Taking

_CLOSE = 1e-9


def surplus(left: Iterable[Formula], right: Iterable[Formula]) -> tuple[dict[str, float], float]:
    """Left minus right: by element where it is not none, and the charge."""
    counts: dict[str, float] = {}
    charge = 0.0
    for sign, side in ((1, left), (-1, right)):
        for formula in side:
            charge += sign * formula.charge
            for symbol, n in formula.elements.items():
                counts[symbol] = counts.get(symbol, 0.0) + sign * n
    return {symbol: n for symbol, n in counts.items() if abs(n) > _CLOSE}, charge * (abs(charge) > _CLOSE)


def _sides(told: PreparationFile) -> tuple[list[Formula], list[Formula]]:
    out: list[Taking] = [*([told.product] if told.product else []), *told.by_product]
    return [r.formula.times(r.coefficient) for r in told.reagent], [
        s.formula.times(s.coefficient) for s in out
    ]


def equation_words(told: PreparationFile) -> str:
    """The equation as it stands in the file; empty without reagents or product.

    A number of 1 is left out.
    """
    left, right = _sides(told)
    if not left or not right:
        return ""
    return " → ".join(" + ".join(f.text for f in side) for side in (left, right))


def supply_sentences(told: PreparationFile) -> list[str]:
    """What the reagents do not hold enough of: such an equation is wrong, whatever else comes out."""
    left, right = _sides(told)
    if not left or not right:
        return []
    over, _ = surplus(left, right)
    have, need = _counted(left), _counted(right)
    return [
        f"the equation lacks {symbol}: the reagents hold {have.get(symbol, 0):g}, the products need "
        f"{need[symbol]:g}; correct a formula or a coefficient"
        for symbol, n in over.items()
        if n < 0
    ]


def left_over_words(told: PreparationFile) -> str:
    """Elements and charge that come out nowhere, in words; empty where the equation balances."""
    left, right = _sides(told)
    if not left or not right:
        return ""
    over, charge = surplus(left, right)
    words = [f"{symbol} {n:g}" for symbol, n in over.items() if n > 0]
    return ", ".join([*words, *([f"charge {charge:+g}"] if charge else [])])


def step_sentences(steps: Sequence[Step], numbers: Sequence[int]) -> list[str]:
    """Conversions whose two sides differ, by their numbers in the file."""
    wrong = []
    for i, step in zip(numbers, steps, strict=True):
        over, charge = surplus([step.from_, *step.takes_up], [step.to, *step.gives_off])
        words = [f"{symbol} {abs(n):g} {'left over' if n > 0 else 'too much'}" for symbol, n in over.items()]
        words += [f"charge {charge:+g} left over"] if charge else []
        if words:
            wrong.append(
                f"conversion[{i}]: does not balance ({', '.join(words)}); correct a formula, gives_off or "
                "takes_up"
            )
    return wrong


def no_change_sentences(steps: Sequence[Step]) -> list[str]:
    """A conversion by which nothing is lost or gained, and which weighings cannot follow."""
    if not steps or surplus([steps[0].from_], [steps[0].to])[0]:
        return []
    return ["conversion[1]: changes no mass, so weighings say nothing of it; leave them out"]


def _counted(side: Iterable[Formula]) -> dict[str, float]:
    return surplus(side, ())[0]
