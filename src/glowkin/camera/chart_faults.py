"""What is wrong with a photograph of a chart: how far it is overexposed, and whether its light is another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.calibrate import UNLIKELY, Calibrated, ChartSeen, LightsSeen, calibrate
from glowkin.camera.daylight import D65_KELVIN, NAMED, chart_light, planck
from glowkin.camera.sensitivities import camera_prior

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.camera.daylight import ChartLight

_ROOM = 0.9
"""Of the scale, what the brightest patch may reach."""
_OTHERS = ("tungsten", "daylight")


def stops_over(mean: Array, clipped: NDArray[np.bool_], reflectance: Array) -> tuple[float, bool]:
    """How many stops less exposure keep every patch unclipped, in halves, and whether it is at least so many.

    By the brighter half of the patches (``mean`` n x 3) not ``clipped`` (n), which flare lifts least, and how
    much brighter their ``reflectance`` (n x 201) says that the others are, to a usual camera in daylight.
    """
    expected = reflectance @ (camera_prior().mean * planck(D65_KELVIN)).T
    if clipped.all():
        level = float(expected.max() / expected.max(axis=1).min())
    else:
        whole = np.flatnonzero(~clipped)
        bright = whole[np.argsort(-expected[whole].sum(axis=1))][: -(-len(whole) // 2)]
        level = float((np.median(mean[bright] / expected[bright], axis=0) * expected.max(axis=0)).max())
    stops = float(np.log2(max(level, 1.0) / _ROOM))
    return float(np.ceil(2.0 * stops) / 2.0), bool(clipped.all())


def stops_words(stops: float, at_least: bool) -> str:
    """The same in words.

    >>> stops_words(1.0, False), stops_words(5.5, True)
    ('1 stop less exposure', 'at least 5.5 stops less exposure')
    """
    return f"{'at least ' if at_least else ''}{stops:g} stop{'' if stops == 1 else 's'} less exposure"


def other_light(
    chart: ChartSeen, given: str, light: ChartLight, lights: LightsSeen | None, found: Calibrated
) -> str:
    """A sentence where a light of another kind explains the chart far better than the one ``given``; or none.

    In a light that is taken for another no camera is like others, and the file's own matrices disagree.
    """
    if found.unlikely <= UNLIKELY and (found.described or not chart.to_xyz):
        return ""
    for name in _OTHERS:
        if light.free and abs(1e6 / NAMED[name][0] - light.mired) < 3 * NAMED[name][1]:
            continue
        by = calibrate(chart, chart_light(name), lights)
        agrees = by.described and not found.described
        likelier = found.unlikely > UNLIKELY and by.unlikely < found.unlikely / 2
        if by.temperature_kelvin is not None and (agrees or likelier) and by.unlikely <= UNLIKELY:
            return (
                f"The chart looks lit by light of about {round(by.temperature_kelvin, -2):.0f} K and not by "
                f"--chart-light {given}: if that was {_words(name)}, give --chart-light {name}, else "
                "photograph the chart in open daylight."
            )
    return ""


def _words(name: str) -> str:
    return "a lamp" if name == "tungsten" else name
