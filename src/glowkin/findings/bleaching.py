"""Controls that fade: how much light they lose under the lamp, and whether it is they or the lamp.

A control's light falls with the lamp's and with what the lamp does to it. A reference glow that does not
fade tells the two apart; without one they look alike, and the fall is told as that of both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.clocks import ELAPSED, LAMP_ON, Bleaching
from glowkin.base.uncertainty import t95
from glowkin.findings.courses import SUPPORTED
from glowkin.findings.fitting import aicc
from glowkin.findings.frames import level, steadied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.frames import Frame

_LEAST = 0.03
"""Loss of light over a series below which nothing is said of bleaching (common practice, no source)."""
_FEWEST = 5


def bleaching_of(
    frames: Sequence[Frame],
    controls: Sequence[str],
    references: Sequence[str],
    lamp_on_s: Array | None = None,
    spells: Sequence[int] = (),
) -> tuple[Bleaching, ...]:
    """The controls that fade, against the reference glows where there are any.

    ``spells`` (n,) tell which lamp each frame is lit by: beyond a change a control starts anew.
    """
    own = [c for c in controls if c not in references]
    clock, name = (
        (np.array([f.time_s for f in frames]), ELAPSED) if lamp_on_s is None else (lamp_on_s, LAMP_ON)
    )
    lit = steadied(frames, tuple(references))
    groups = np.array(spells or [0] * len(frames))
    found = (_fade(lit, c, clock, name, groups, bool(references)) for c in own)
    return tuple(f for f in found if f is not None)


def fading(faded: Sequence[Bleaching]) -> tuple[str, ...]:
    """The controls that fade against the reference glows.

    Their light holds the lamp's and the bleaching: where there are any, they alone steady the samples, so
    that both are divided out.
    """
    return tuple(b.control for b in faded if b.told_from_lamp)


def _fade(
    frames: Sequence[Frame], control: str, clock: Array, name: str, groups: Array, told: bool
) -> Bleaching | None:
    light = np.array([level(f, control) / f.lamp for f in frames])
    seen = np.isfinite(light) & (light > 0.0)
    clock, light, groups = clock[seen], light[seen], groups[seen]
    one_hot = (groups[:, None] == np.unique(groups)).astype(float)
    n, spread = len(light), clock.max(initial=0.0) - clock.min(initial=0.0)
    if n < _FEWEST or spread <= 0.0 or n - one_hot.shape[1] < 3:
        return None
    y, x = np.log(light), clock - clock[0]
    steady = _least_squares(one_hot, y)
    rss, values, covariance = _least_squares(np.column_stack([one_hot, -x]), y)
    gain = aicc(steady[0], n, one_hot.shape[1]) - aicc(rss, n, one_hot.shape[1] + 1)
    rate, half = float(values[-1]), t95(n - len(values)) * float(np.sqrt(covariance[-1, -1]))
    if rate - half <= 0.0 or gain < SUPPORTED or 1.0 - np.exp(-rate * x[-1]) < _LEAST:
        return None
    left = np.exp(y - one_hot @ values[:-1])
    low, middle, high = (float(np.exp(-k * x[-1])) for k in (rate + half, rate, rate - half))
    points = tuple((float(t), float(v)) for t, v in zip(clock, left, strict=True))
    return Bleaching(control, name, rate, (rate - half, rate + half), middle, (low, high), points, told)


def _least_squares(X: Array, y: Array) -> tuple[float, Array, Array]:
    """Residual sum of squares, values and their covariance by the scatter of the residuals."""
    values = np.linalg.lstsq(X, y, rcond=None)[0]
    rest = y - X @ values
    rss = float(rest @ rest)
    return rss, np.asarray(values), np.asarray(np.linalg.pinv(X.T @ X) * rss / (len(y) - X.shape[1]))
