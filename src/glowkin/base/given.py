"""Records of what is said of two forms beforehand: their colours, and how bright they are to each other."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from glowkin.base.errors import WrongUseError

Matrix = tuple[tuple[float, ...], ...]

_RATIO = re.compile(
    r"\s*([0-9.]+(?:e[+-]?\d+)?)\s*(?:(?:±|\+/?-)\s*([0-9.]+(?:e[+-]?\d+)?))?\s*", re.IGNORECASE
)
_LEAST, _MOST = 0.001, 1000.0


@dataclass(frozen=True)
class FormGiven:
    """A form given for a course: ``form`` is old or new, ``told`` how it was named, ``basis`` photograph,
    measured-spectrum or published. ``linear_rgb`` is its direction in the camera's channels, of length 1,
    with covariance; its brightness is not used.
    """

    form: str
    told: str
    basis: str
    linear_rgb: tuple[float, float, float]
    linear_rgb_covariance: Matrix
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class LuminanceRatio:
    """Luminance of the new form to that of the old, per amount, under the same lamp; ``sd`` is its standard
    deviation.

    >>> LuminanceRatio.read("10±2")
    LuminanceRatio(value=10.0, sd=2.0)
    >>> LuminanceRatio.read("0.3 +- 0.05").sd
    0.05
    """

    value: float
    sd: float = 0.0

    @classmethod
    def read(cls, text: str, where: str = "--luminance-ratio") -> LuminanceRatio:
        """From R or R±S (also R+-S), S one standard deviation; WrongUseError for anything else."""
        read = _RATIO.fullmatch(text)
        try:
            value, sd = (float(part or 0.0) for part in read.groups()) if read else (0.0, 0.0)
        except ValueError:
            value = sd = 0.0
        if not _LEAST <= value <= _MOST or not sd < value:
            raise WrongUseError(
                f"{where} {text}: write the new form's luminance over the old form's, as 10 or 10±2 (one "
                f"standard deviation, less than the ratio), from {_LEAST:g} to {_MOST:g}"
            )
        return cls(value, sd)


def given_from_json(document: dict[str, Any]) -> dict[str, Any]:
    """What was given for a glowkin.track.v1 document, as fields of a time course."""
    from glowkin.base.records import build

    ratio = document.get("luminance_ratio_given")
    return {
        "forms_given": tuple(build(FormGiven, row) for row in document.get("forms_given", ())),
        "luminance_ratio_given": build(LuminanceRatio, ratio) if ratio else None,
    }
