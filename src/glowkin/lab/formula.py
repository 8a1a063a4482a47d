"""A formula as chemists write it: dots of hydrates and charges are taken off here, molmass reads the rest."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from glowkin.lab.weights import standard_weights

if TYPE_CHECKING:
    from collections.abc import Mapping

_LONGEST = 200
_MOST = 100_000
"""Atoms of one element in a formula unit, and formula units of a kind."""
_PLAIN = str.maketrans("₀₁₂₃₄₅₆₇₈₉−–⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789--0123456789+-")
_SUPER = re.compile(r"[⁰¹²³⁴⁵⁶⁷⁸⁹]*[⁺⁻]$")
_CHARGE = re.compile(r"(?:\^|_|(?<=\]))(\d*)([+-])$|(?<=[A-Za-z)])([+-]+)$")
_PART = re.compile(r"(\d+[.,]\d+|\d+)?([A-Z(\[][^.]*)(?:\.|$)")
_BELOW_TWO = re.compile(r"(?<=[A-Za-z)\]])([01])\.(?=\d)")
"""A count that begins with 0 or 1 and a dot is a fraction: nobody writes none or one of an atom."""
_FRACTION = re.compile(r"(\d+),(\d+)")
_MOST_FRACTIONS = 6
_SYMBOL = re.compile(r"[A-Z][a-z]?")


@dataclass(frozen=True)
class Formula:
    """A formula as it was read: its text, how many of each element, the charge in elementary charges."""

    text: str
    elements: Mapping[str, float]
    charge: float = 0

    def times(self, n: float) -> Formula:
        """So many of it."""
        if n == 1:
            return self
        counts = {symbol: _whole(n * k) for symbol, k in self.elements.items()}
        return Formula(f"{n:g} {self.text}", counts, _whole(n * self.charge))


def read_formula(text: str) -> Formula:
    """A formula with brackets, dots of hydrates and a charge.

    Raises ``ValueError`` with a sentence where it cannot be read, could be read in two ways, or names an
    element without a standard atomic weight.

    >>> read_formula("BaCl2.2H2O")
    Formula(text='BaCl2·2H2O', elements={'Ba': 1, 'Cl': 2, 'H': 4, 'O': 2}, charge=0)
    >>> read_formula("[Mn(H2O)6]2+").charge, read_formula("SO4^2-").charge
    (2, -2)
    >>> read_formula("Zn0.95Mn0.05S").elements
    {'Mn': 0.05, 'S': 1, 'Zn': 0.95}
    """
    plain, charge = _charge_off(_tidied(text))
    parts = _parts(plain, text)
    counts: Counter[str] = Counter()
    for n, part in parts:
        for symbol, k in _counts(part, text).items():
            counts[symbol] += n * k  # type: ignore[assignment]
    shown = "·".join(_shown(part) if n == 1 else f"{n:g}{_shown(part)}" for n, part in parts)
    sign = "" if not charge else f"^{abs(charge) if abs(charge) > 1 else ''}{'+' if charge > 0 else '-'}"
    return Formula(shown + sign, {symbol: _whole(k) for symbol, k in counts.items()}, charge)


def _whole(n: float) -> float:
    """A whole number without a fraction of none."""
    return int(n) if n == int(n) else n


def read_several(text: str) -> Formula:
    """A formula with a number of it before, as in an equation.

    >>> read_several("2 H2O").elements
    {'H': 4, 'O': 2}
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?=[A-Z(\[])(.+)", text)
    if not found:
        return read_formula(text)
    if not 0 < float(found[1]) <= _MOST:
        raise ValueError(f"{text!r}: give a number of it above 0, at most {_MOST}")
    return read_formula(found[2]).times(float(found[1]))


def _tidied(text: str) -> str:
    """Plain letters, digits, dots and charges; a raised charge is set apart by ^."""
    if len(text) > _LONGEST:
        raise ValueError(f"is longer than {_LONGEST} signs; write it shorter")
    if raised := _SUPER.search(text.strip()):
        text = f"{text.strip()[: raised.start()]}^{raised.group()}"
    text = re.sub(r"\s*([·•⋅∙*‧]|(?<=\s)\.|\.(?=\s))\s*", "·", text.strip())
    text = re.sub(r"(?<=[.·])(1/2|½)", "0.5", text)
    if re.search(r"\d\s+\d", text):
        raise ValueError(f"{text!r}: a space between figures; write a dot before water, as in MnBr2.4H2O")
    return "".join(text.split())


def _charge_off(text: str) -> tuple[str, int]:
    """The formula without its charge, and the charge."""
    plain = text.translate(_PLAIN)
    found = _CHARGE.search(plain)
    if re.search(r"[+-]", plain[: found.start()] if found else plain):
        raise ValueError(f"{text!r}: set one charge apart at the end, as in SO4^2- or NH4^+ or [CoCl4]2-")
    if not found:
        return plain, 0
    signs = found[2] or found[3]
    size = int(found[1] or 1) if found[2] else len(signs)
    return plain[: found.start()], size if signs[0] == "+" else -size


def _parts(plain: str, text: str) -> list[tuple[float, str]]:
    """The formula units that dots join, each with its number."""
    if not plain:
        raise ValueError("is empty; write a formula such as MnBr2.4H2O")
    return [p for i, piece in enumerate(plain.split("·")) for p in _split(piece, text, leading=i > 0)]


def _split(piece: str, text: str, *, leading: bool) -> list[tuple[float, str]]:
    parts: list[tuple[float, str]] = []
    piece, at = _BELOW_TWO.sub(r"\1,", piece), 0
    while at < len(piece):
        found = _PART.match(piece, at)
        if not found:
            raise ValueError(f"{text!r} cannot be read from {piece[at:][:12]!r} on; {_how(piece[at:])}")
        if found[1] and not (parts or leading):
            raise ValueError(f"{text!r} begins with a number; numbers of formula units go into coefficient")
        if parts and re.search(r"\d$", parts[-1][1]) and found[1]:
            _sure_of_dot(parts[-1][1], found[2], text)
        n = float((found[1] or "1").replace(",", "."))
        if n == 0:
            raise ValueError(f"{text!r}: none of {found[2]}; leave it out")
        if n > _MOST:
            raise ValueError(f"{text!r} has more than {_MOST} of {found[2]}; correct its numbers")
        parts.append((n, found[2]))
        at = found.end()
    if piece.endswith(".") or not parts:
        raise ValueError(f"{text!r} ends at a dot; write what follows it, as in CoCl2.6H2O")
    return parts


def _sure_of_dot(before: str, after: str, text: str) -> None:
    """A dot between two figures is that of a hydrate, unless it looks like a fraction of an atom."""
    if "," in before + after or min(len(_SYMBOL.findall(side)) for side in (before, after)) < 2:
        raise ValueError(
            f"{text!r}: a dot between figures could be a hydrate or a fraction; write a hydrate with spaces, "
            "as in BaCl2 . 2H2O, and fractions of atoms with a comma, as in Y2,94Ce0,06Al5O12"
        )


def _shown(part: str) -> str:
    """Fractions below two with the dot that they were given with."""
    return re.sub(r"(?<=[A-Za-z)\]])([01]),", r"\1.", part)


def _how(rest: str) -> str:
    if rest[:1].islower():
        return "symbols of elements begin with a capital letter"
    if rest.isdigit():
        return "write what follows the dot, as in MnBr2.4H2O, or a fraction with a comma, as in O6,95"
    return "write symbols, numbers, round or square brackets, and dots before water"


def _counts(part: str, text: str) -> dict[str, float]:
    """How many of each element there are in a formula unit without dots and charge.

    Fractions are found between 1 and 2 of them: a composition is linear in each of its numbers.
    """
    found = _FRACTION.search(part)
    if not found:
        return _whole_counts(part, text)
    if len(_FRACTION.findall(part)) > _MOST_FRACTIONS:
        raise ValueError(f"{text!r} has more than {_MOST_FRACTIONS} fractions; write whole numbers")
    n = float(f"{found[1]}.{found[2]}")
    if n == 0:
        raise ValueError(f"{text!r}: none of an element; leave it out")
    one, two = (_counts(f"{part[: found.start()]}{k}{part[found.end() :]}", text) for k in (1, 2))
    return {symbol: round((2.0 - n) * one[symbol] + (n - 1.0) * two[symbol], 9) for symbol in one}


def _whole_counts(part: str, text: str) -> dict[str, float]:
    """The same of whole numbers."""
    from molmass import Formula as Molmass
    from molmass import FormulaError

    weights = standard_weights()
    for symbol in _SYMBOL.findall(part):
        if symbol not in weights:
            raise ValueError(f"{text!r}: {_no_weight(symbol)}")
    if re.search(r"[\[(]\d", part):
        raise ValueError(f"{text!r}: isotopes are not weighed here; leave their numbers out")
    try:
        read = Molmass(
            part, groups={}, parse_groups=False, parse_oligos=False, parse_fractions=False,
            parse_arithmetic=False,
        )  # fmt: skip
        counts: dict[str, float] = {item.symbol: item.count for item in read.composition().values()}
    except (FormulaError, ValueError, RecursionError) as error:
        what = str(error).splitlines()[0]
        raise ValueError(f"{text!r} cannot be read ({what}); check brackets and numbers") from None
    if not counts:
        raise ValueError(f"{text!r} holds no element; write a formula such as MnBr2.4H2O")
    if max(counts.values()) > _MOST:
        raise ValueError(f"{text!r} has more than {_MOST} atoms of one element; correct its numbers")
    return counts


def _no_weight(symbol: str) -> str:
    from molmass import ELEMENTS

    if symbol in ("D", "T"):
        return f"{symbol} is an isotope, which is not weighed here; write H"
    if symbol in ELEMENTS:
        return f"{symbol} has no standard atomic weight, since none of its isotopes lasts"
    return f"there is no element {symbol}; write groups out, as C2H5 for ethyl"
