"""Names of samples: a storage condition and the vial under it."""

from __future__ import annotations

import re

_VIAL = re.compile(r"^(?P<condition>.*\S)\s*[-–_ #]\s*(?P<vial>\d{1,3}|[A-Za-z])$")


def split_vial(name: str) -> tuple[str, str]:
    """The storage condition and the vial in a sample's name; the vial is '' where the name tells none.

    >>> split_vial("MgCl2 25 C-2"), split_vial("control")
    (('MgCl2 25 C', '2'), ('control', ''))
    """
    found = _VIAL.match(name)
    return (found["condition"].rstrip(" -–_#"), found["vial"].strip()) if found else (name, "")
