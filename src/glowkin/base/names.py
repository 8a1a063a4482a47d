"""Names of samples: a storage condition, its temperature, and the vial under it."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_VIAL = re.compile(r"^(?P<condition>.*\S)\s*[-–_ #]\s*(?P<vial>\d{1,3}|[A-Za-z])$")
_TEMPERATURE = re.compile(
    r"(?<![\w.,])(?P<value>[-−+]?\d+(?:[.,]\d+)?)\s*°?\s*C(?!\w)|(?<![\w.,])(?P<kelvin>\d{3}(?:\.\d+)?)\s*K(?!\w)"
)
_ZERO_C_K = 273.15
_NO_SIGNS = ("Cc", "Cs", "Zl", "Zp")
"""Categories of Unicode that break a line, or are no sign at all; its many spaces are signs."""


def split_vial(name: str) -> tuple[str, str]:
    """The storage condition and the vial in a sample's name; the vial is '' where the name tells none.

    >>> split_vial("MgCl2 25 C-2"), split_vial("control"), split_vial("freezer -18 C")
    (('MgCl2 25 C', '2'), ('control', ''), ('freezer -18 C', ''))
    """
    found = _VIAL.match(name)
    if not found or any(t.end() == len(name) for t in _TEMPERATURE.finditer(name)):
        return name, ""
    return found["condition"].rstrip(" -–_#"), found["vial"].strip()


def split_temperature(condition: str) -> tuple[str, float | None]:
    """What a storage is called but for its temperature, and that, in degrees Celsius; None if not told.

    >>> split_temperature("MgCl2 25 C"), split_temperature("freezer -18 °C"), split_temperature("open")
    (('MgCl2', 25.0), ('freezer', -18.0), ('open', None))
    """
    found = list(_TEMPERATURE.finditer(condition))
    if len(found) != 1:
        return condition, None
    one = found[0]
    kelvin, value = one["kelvin"], (one["value"] or "").replace(",", ".").replace("−", "-")
    rest = f"{condition[: one.start()]} {condition[one.end() :]}".strip(" -–_,;()")
    return rest, float(kelvin) - _ZERO_C_K if kelvin else float(value)


def listed(given: str | Sequence[str] | None) -> tuple[str, ...]:
    """Names in their order, given one by one or with commas.

    >>> listed("a, b,"), listed(["a", "b"]), listed(None)
    (('a', 'b'), ('a', 'b'), ())
    """
    names = given.split(",") if isinstance(given, str) else given or ()
    return tuple(name.strip() for name in names if name.strip())


def broken(names: Iterable[str]) -> str:
    r"""That a name holds a line break or the like; empty where none does.

    >>> broken(["a", "MgCl2\u00a025\u202f°C"]), broken(["a", "b\nc"])
    ('', "'b\\nc' holds a line break or the like")
    """
    odd = [name for name in names if any(unicodedata.category(sign) in _NO_SIGNS for sign in name)]
    return f"{odd[0]!r} holds a line break or the like" if odd else ""
