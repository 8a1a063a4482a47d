"""Shares of the light by colour alone: where brightness says nothing, amounts cannot be told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.given import FormLight, form_colour, given_of
from glowkin.findings.unmix import colours_of, fractions_of

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.findings.unmix import EndForm, Series


def light_shares(series: Series, end_form: EndForm | None) -> tuple[Array, float | None]:
    """Share of the light that comes from the starting form (n,), and when it has gone half its way.

    Between the forms given; failing that from the colour of the first frame to that of the last, or of the
    end form.
    """
    frames, given = colours_of(series), given_of(series)
    new = FormLight(end_form.signal, end_form.covariance) if end_form is not None else given.new
    clear = np.ones(len(series.times_s), dtype=bool) if series.bounds is None else ~series.bounds.any(axis=1)
    ends = frames.signals[clear] if clear.any() else frames.signals
    a = ends[0] if given.old is None else form_colour(series, given.old)[0]
    b = ends[-1] if new is None else form_colour(series, new)[0]
    w = np.where(clear, fractions_of(frames, a, b)[0], np.nan)
    return w, _crossing_time(series.times_s[clear], w[clear])


def _crossing_time(times_s: Array, w: Array) -> float | None:
    """When w lies half-way from its first to its last value, after making it fall steadily.

    None below four frames: between so few the time would be the interpolation's.
    """
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import isotonic_regression

    times, first = np.unique(times_s, return_index=True)
    falling = isotonic_regression(w[first], increasing=False).x
    if len(times) < 4 or falling[0] <= falling[-1]:
        return None
    level = (falling[0] + falling[-1]) / 2.0
    roots = PchipInterpolator(times, falling).solve(level, extrapolate=False)
    return float(roots[0]) if roots.size and roots[0] > 0.0 else None
