"""A preparation reckoned through: formula masses, amounts, the reagent that limits, yield, another size."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import CannotMeasureError
from glowkin.base.preparations import Preparation, Remark, Scaled, Substance, Yield
from glowkin.lab.budget import Z95, Figure, Known, carried
from glowkin.lab.contradictions import UNCERTAINTY_OF
from glowkin.lab.conversion import conversions
from glowkin.lab.equation import equation_words, left_over_words
from glowkin.lab.weights import formula_mass, weight_inputs

if TYPE_CHECKING:
    from collections.abc import Mapping

    from glowkin.lab.preparation_file import Balance, PreparationFile, Product, Reagent, Solvent, Taking

_VAGUE = 0.2
"""Relative standard uncertainty up to which an input may be carried to first order."""


def reading_u(balance: Balance | None) -> float:
    """Standard uncertainty of one reading of the balance, g.

    Repeatability, the display's step as a rectangle (JCGM 100:2008, F.2.2.1), and linearity as a bound.
    """
    if balance is None:
        return 0.0
    step, bound = balance.readability_g / sqrt(12.0), balance.linearity_g / sqrt(3.0)
    return sqrt(balance.repeatability_g**2 + step**2 + bound**2)


def net_u(balance: Balance | None, given: float | None) -> float:
    """Standard uncertainty of a net mass, g: two readings, of the empty and of the filled vessel."""
    return given if given is not None else sqrt(2.0) * reading_u(balance)


def prepare(
    told: PreparationFile, *, scale: float | None = None, to_yield_g: float | None = None
) -> Preparation:
    """The whole file but for its weighings."""
    inputs = _inputs(told)
    sure_enough(inputs)
    figures = carried(lambda x: _reckon(told, x), inputs)
    limits = limiting(told, figures)
    found = _yield(told, figures, limits)
    scaled = _scaled(told, found, scale, to_yield_g)
    remarks = (*_remarks(told, found), *_short(told, figures, limits), *_size_remarks(scaled))
    return Preparation(
        told.title, told.notes, equation_words(told), _substances(told, figures, limits), found, scaled,
        conversions(told.conversion), None, remarks,
    )  # fmt: skip


def sure_enough(inputs: Mapping[str, Known]) -> None:
    """Raise ``CannotMeasureError`` where inputs are less certain than first-order propagation bears."""
    vague = [f"{n}, {k.value:g} ± {k.u:.2g}" for n, k in inputs.items() if k.u > _VAGUE * abs(k.value)]
    if vague:
        raise CannotMeasureError(
            f"too uncertain to reckon with: {'; '.join(vague)} (standard uncertainty); weigh more, or finer"
        )


def _takings(told: PreparationFile) -> list[tuple[str, Taking]]:
    product = [("product", told.product)] if told.product else []
    return [*(("reagent", r) for r in told.reagent), *product, *(("by-product", b) for b in told.by_product)]


def _inputs(told: PreparationFile) -> dict[str, Known]:
    inputs = weight_inputs(s.formula for _, s in _takings(told))
    for reagent in told.reagent:
        inputs |= _measured(reagent, told.balance)
        for key, uncertainty in UNCERTAINTY_OF.items():
            if (value := getattr(reagent, key)) is not None:
                inputs[_of(key, reagent)] = Known(value, getattr(reagent, uncertainty) or 0.0)
    if told.product:
        inputs |= _measured(told.product, told.balance)
    return inputs


def _of(key: str, reagent: Reagent) -> str:
    return f"{key.partition('_')[0]} of {reagent.name}"


def _measured(s: Reagent | Product, balance: Balance | None) -> dict[str, Known]:
    purity = Known(s.purity_percent, s.purity_uncertainty_percent or 0.0)
    out = {f"purity of {s.name}": purity}
    if s.mass_g is not None:
        out[f"mass of {s.name}"] = Known(s.mass_g, net_u(balance, s.mass_uncertainty_g))
    return out


def _reckon(told: PreparationFile, x: Mapping[str, float]) -> dict[str, float]:
    """Formula masses, amounts, and what each reagent would give of the product, from inputs by name."""
    out = {f"M {s.name}": formula_mass(s.formula, x) for _, s in _takings(told)}
    for r in told.reagent:
        if r.mass_g is None and r.volume_ml is None:
            continue
        n = _amount(r, out[f"M {r.name}"], x)
        out[f"n {r.name}"] = n
        out[f"extent {r.name}"] = n / r.coefficient
        if told.product:
            out[f"gives {r.name}"] = (
                n / r.coefficient * told.product.coefficient * out[f"M {told.product.name}"]
            )
    if told.product and told.product.mass_g is not None:
        name = told.product.name
        pure = x[f"mass of {name}"] * x[f"purity of {name}"] / 100.0
        out["actual"] = pure
        out[f"n {name}"] = pure / out[f"M {name}"]
        for r in told.reagent:
            if f"gives {r.name}" in out:
                out[f"percent by {r.name}"] = 100.0 * pure / out[f"gives {r.name}"]
    return out


def _amount(r: Reagent, molar_mass: float, x: Mapping[str, float]) -> float:
    if r.concentration_mol_per_l is not None:
        return x[f"volume of {r.name}"] / 1000.0 * x[f"concentration of {r.name}"]
    mass = x[f"mass of {r.name}"] if r.mass_g is not None else (
        x[f"volume of {r.name}"] * x[f"density of {r.name}"]
    )  # fmt: skip
    return mass * x[f"purity of {r.name}"] / 100.0 / molar_mass


def limiting(told: PreparationFile, figures: Mapping[str, Figure]) -> tuple[str, ...]:
    """The reagent that limits; several where their amounts are not told apart (95 %)."""
    extents = {r.name: figures[f"extent {r.name}"] for r in told.reagent if f"extent {r.name}" in figures}
    extents = {r.name: extents[r.name] for r in told.reagent if r.name in extents and not r.in_excess}
    if not extents:
        return ()
    least = min(extents, key=lambda name: extents[name].value)
    close = []
    for name, extent in extents.items():
        gap = extent.minus(extents[least])
        if name == least or gap.value <= Z95 * gap.u:
            close.append(name)
    return tuple(sorted(close, key=lambda name: extents[name].value))


def _substances(
    told: PreparationFile, figures: Mapping[str, Figure], limits: tuple[str, ...]
) -> tuple[Substance, ...]:
    least = figures[f"extent {limits[0]}"].value if limits else None
    out = []
    for role, s in _takings(told):
        amount, mass = figures.get(f"n {s.name}"), figures[f"M {s.name}"]
        extent = figures.get(f"extent {s.name}")
        out.append(
            Substance(
                s.name, role, s.formula.text, dict(s.formula.elements), int(s.formula.charge), s.coefficient,
                mass.value, mass.interval, getattr(s, "mass_g", None), getattr(s, "volume_ml", None),
                amount.value if amount else None, amount.interval if amount else None,
                extent.value / least if extent and least else None, getattr(s, "in_excess", False),
            )
        )  # fmt: skip
    return tuple(out)


def _yield(told: PreparationFile, figures: Mapping[str, Figure], limits: tuple[str, ...]) -> Yield | None:
    """Where it is not told which reagent limits, intervals reach from the lowest of theirs to the lowest top.

    The least of several is below the lowest end of their intervals in at most 2.5 % for each of them, and
    above the lowest upper end in at most 2.5 % (JCGM 101, their values drawn).
    """
    if not limits or told.product is None:
        return None
    gives = [figures[f"gives {name}"] for name in limits]
    low, high = (min(g.interval[i] for g in gives) for i in (0, 1))
    actual = figures.get("actual")
    if actual is None:
        return Yield(limits, gives[0].value, (low, high))
    percents = [figures[f"percent by {name}"] for name in limits]
    interval = tuple(max(p.interval[i] for p in percents) for i in (0, 1))
    return Yield(
        limits, gives[0].value, (low, high), actual.value, actual.interval, percents[0].value,
        (interval[0], interval[1]), percents[0].largest,
    )  # fmt: skip


def _scaled(
    told: PreparationFile, found: Yield | None, scale: float | None, to_yield_g: float | None
) -> Scaled | None:
    if scale is None and to_yield_g is None:
        return None
    expected = None if found is None else found.actual_g or found.theoretical_g
    if to_yield_g is not None:
        if expected is None:
            raise CannotMeasureError(
                "--to-yield needs what this size yields; give [product] and the reagents' amounts, or --scale"
            )
        scale = to_yield_g / expected
    assert scale is not None  # noqa: S101 - for the type checker
    basis = "the factor alone" if expected is None else (
        "the yield of this batch" if found and found.actual_g else "the theoretical yield"
    )  # fmt: skip
    parts: list[Reagent | Solvent] = [*told.reagent, *told.solvent]
    take = tuple(_take(s, scale) for s in parts if s.mass_g or s.volume_ml)
    return Scaled(scale, basis, None if expected is None else expected * scale, take)


def _take(s: Reagent | Solvent, scale: float) -> dict[str, Any]:
    key = "mass_g" if s.mass_g is not None else "volume_ml"
    return {"name": s.name, key: getattr(s, key) * scale}


def _remarks(told: PreparationFile, found: Yield | None) -> list[Remark]:
    out = []
    if words := left_over_words(told):
        out.append(
            Remark(
                "not balanced",
                f"The equation does not balance: {words} on the left come out nowhere. Name the by-products, "
                "or correct a formula or coefficient.",
            )
        )
    if found and found.percent_interval and found.percent_interval[0] > 100.0:
        out.append(
            Remark(
                "yield above 100 %",
                "The yield is above 100 %, beyond its uncertainty: wet, impure, or another form than the "
                "formula says. Dry to constant mass and weigh again.",
            )
        )
    if exact := _counted_as_exact(told):
        out.append(
            Remark(
                "counted as exact",
                f"Counted as exact, since no uncertainty is given: {', '.join(exact)}. Intervals are too "
                "narrow by what these add.",
            )
        )
    if found and len(found.limiting) > 1:
        out.append(
            Remark(
                "limit not told",
                f"Which of {' and '.join(found.limiting)} limits cannot be told from their amounts; the "
                "intervals hold for either.",
            )
        )
    return out


def _short(told: PreparationFile, figures: Mapping[str, Figure], limits: tuple[str, ...]) -> list[Remark]:
    """What was said to be in excess and is less than what limits."""
    if not limits:
        return []
    least = figures[f"extent {limits[0]}"].value
    extents = {r.name: figures.get(f"extent {r.name}") for r in told.reagent if r.in_excess}
    names = [name for name, extent in extents.items() if extent is not None and extent.value < least]
    return [
        Remark(
            "not in excess",
            f"{name} is given as in excess, but there is less of it than of {limits[0]}, by the equation. "
            "Leave in_excess out, or correct its amount.",
        )
        for name in names
    ]


def _counted_as_exact(told: PreparationFile) -> list[str]:
    out = []
    measured: list[Any] = [*told.reagent, *([told.product] if told.product else [])]
    for s in measured:
        if s.mass_g is not None and s.mass_uncertainty_g is None and reading_u(told.balance) == 0.0:
            out.append(f"mass of {s.name}")
        for key, uncertainty in UNCERTAINTY_OF.items():
            if getattr(s, key, None) is not None and getattr(s, uncertainty) is None:
                out.append(_of(key, s))
        if s.purity_percent != 100.0 and s.purity_uncertainty_percent is None:
            out.append(f"purity of {s.name}")
    vial = told.vial
    if told.weighing and vial.purity_percent != 100.0 and vial.purity_uncertainty_percent is None:
        out.append("purity in the vial")
    return out


def _size_remarks(scaled: Scaled | None) -> list[Remark]:
    if scaled is None or scaled.factor <= 1.0:
        return []
    return [
        Remark(
            "larger batch",
            "A larger batch is not a small one multiplied: heat, gas and drying change with its size. "
            "This is arithmetic, not a procedure; local codes and licensed or supervised practice decide.",
        )
    ]
