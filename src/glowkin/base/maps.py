"""Maps of a sample: how far the change has come at each place of it, and where it begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

AT_RIM, IN_MIDDLE, AT_ONE_SIDE, IN_SPOTS, EVENLY, CANNOT_TELL = BEGINNINGS = (
    "at the rim", "in the middle", "at one side", "in spots", "evenly", "cannot tell",
)  # fmt: skip


_LOWEST, _STEPS, _MOST, _UNKNOWN, _OUTSIDE = -0.125, 200, 250, 254, 255
"""A packed pixel counts steps of 1/200 from -0.125 up to 1.125; two numbers are set apart."""


@dataclass(frozen=True)
class MapFound:
    """Where the change begins, by the photograph nearest half conversion, and what that rests on.

    ``by_light``: fractions are shares of the light, not amounts. ``rank_correlation`` (Spearman) is that of
    the fraction still in the starting form with the depth from the outline, over ``patches`` of the sample,
    and ``p_value`` the chance of one as large among shuffled patches. ``inner_minus_outer``: fraction in the
    deeper half less that in the outer half, with its 95 % interval. ``spread``: how far fractions differ from
    place to place (standard deviation, noise taken off), ``spread_at_most`` its upper 95 % limit.
    """

    begins: str
    by_light: bool
    path: str | None = None
    time_s: float | None = None
    rank_correlation: float | None = None
    p_value: float | None = None
    inner_minus_outer: float | None = None
    inner_minus_outer_interval: tuple[float, float] | None = None
    spread: float | None = None
    spread_at_most: float | None = None
    patches: int = 0


@dataclass(frozen=True, eq=False)
class FractionMap:
    """One sample in one photograph: ``values`` (h x w) are fractions in the starting form, NaN where there is
    too little light, where it is clipped, and outside; ``inside`` are the pixels of the outline.

    ``fraction`` is that of the whole sample, ``pixel_px`` how many pixels of the photograph make one of the
    map.
    """

    path: str
    time_s: float
    fraction: float
    by_light: bool
    values: NDArray[np.float32]
    inside: NDArray[np.bool_]
    pixel_px: int

    def packed(self) -> bytes:
        """Its pixels row by row, a byte each: fractions to 0.005, unknown ones, and what lies outside."""
        import numpy as np

        steps = np.clip(np.rint((np.nan_to_num(self.values) - _LOWEST) * _STEPS), 0, _MOST)
        known = np.where(np.isfinite(self.values), steps, _UNKNOWN)
        return np.where(self.inside, known, _OUTSIDE).astype(np.uint8).tobytes()


def unpacked(pixels: bytes, height: int, width: int) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """``values`` and ``inside`` (height x width) of a map that was packed.

    >>> values, inside = unpacked(bytes([25, 225, 254, 255]), 2, 2)
    >>> values.tolist(), inside.tolist()
    ([[0.0, 1.0], [nan, nan]], [[True, True], [True, False]])
    """
    import numpy as np

    steps = np.frombuffer(pixels, dtype=np.uint8).reshape(height, width)
    values = np.where(steps <= _MOST, steps / _STEPS + _LOWEST, np.nan)
    return values.astype(np.float32), steps != _OUTSIDE
