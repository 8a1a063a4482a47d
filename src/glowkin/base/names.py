"""Names of samples: a condition and the number of the vial under it."""

from __future__ import annotations

import re

_VIAL = re.compile(r"^(?P<condition>.*?\S)[\s_#-]+(?P<vial>\d+|[A-Za-z])$")


def condition_of(name: str) -> str:
    """The name without the vial's number or letter: ``33 % RH 25 C-2`` is of ``33 % RH 25 C``."""
    match = _VIAL.match(name)
    return match["condition"] if match else name
