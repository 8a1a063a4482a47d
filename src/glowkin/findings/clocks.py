"""The lamp as a second clock: does a change go by the hours, or by the minutes under the lamp?

Both are asked of the same photographs with the same weights: the best rate model against elapsed time and
the best against lamp-on time, by AICc. Where the two clocks go together nothing tells them apart.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.clocks import EITHER, ELAPSED, LAMP_ON, ClockFound
from glowkin.findings.courses import SAME, courses_of, fit_variants, rough_fit
from glowkin.findings.given import knows_end, ready
from glowkin.findings.rate_models import DEFAULT_MODELS, RATE_MODELS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.study import StudyFile
    from glowkin.base.uncertainty import Array
    from glowkin.findings.courses import FittedCourse
    from glowkin.findings.frames import Frame
    from glowkin.findings.unmix import EndForm, Frames, Series

TOGETHER = 0.995
"""Correlation of two clocks from which they are taken for proportional."""


def lamp_on(frames: Sequence[Frame], study: StudyFile | None) -> tuple[Array, str] | None:
    """Seconds that the lamp had been on (n,) when each photograph was done, and what tells it.

    From the study file's minutes, where it has them for all; else exposures stand for those missing, the
    least it may have been. None without a study file, or where a photograph tells neither.
    """
    if study is None:
        return None
    told = [study.shot_of(f.photo.path, f.photo.taken_at).lamp_on_min for f in frames]
    seconds = [
        f.photo.exposure_s if minutes is None else 60.0 * minutes
        for f, minutes in zip(frames, told, strict=True)
    ]
    known = [s for s in seconds if s is not None]
    if len(known) < len(seconds) or not any(known):
        return None
    return np.cumsum(known), "exposure" if None in told else "study file"


def which_clock(
    series: Series,
    lamp_on_s: Array,
    told_by: str,
    end_form: EndForm | None = None,
    spoiled: Sequence[int] = (),
) -> ClockFound | None:
    """Which of the two clocks explains one sample's photographs, lamp-on seconds (n,) beside the series.

    ``spoiled`` frames do not count. None where the lamp's brightness is not known, it was not on between
    the photographs, or there are fewer than five.
    """
    index = series.usable()
    index = index[~np.isin(index, spoiled)]
    series, dose = series.take(index), lamp_on_s[index]
    if len(index) < 5 or not series.lamp_known or series.times_s[-1] <= 0.0 or np.ptp(dose) <= 0.0:
        return None
    if abs(float(np.corrcoef(series.times_s, dose)[0, 1])) > TOGETHER:
        return ClockFound(EITHER, None, None, None, None, told_by)
    if series.times_s[0] <= 0.0:  # neither clock runs before the sample's own time begins
        dose = dose - np.interp(0.0, series.times_s, dose)
    can_stop = end_form is not None or knows_end(series)
    by_time, by_lamp = (_best(f, can_stop) for f in _both(series, dose, end_form))
    if by_time is None or by_lamp is None:
        return None
    ahead = by_lamp.aicc - by_time.aicc
    explains = EITHER if abs(ahead) <= SAME else (ELAPSED if ahead > 0 else LAMP_ON)
    names = by_time.course.model.name, by_lamp.course.model.name
    return ClockFound(explains, by_time.aicc, by_lamp.aicc, *names, told_by)


def _both(series: Series, dose: Array, end_form: EndForm | None) -> tuple[Frames, Frames]:
    """The frames against either clock, weighted alike, by the signals that the better clock fits."""
    courses = courses_of(DEFAULT_MODELS, can_stop=end_form is not None or knows_end(series))
    frames = ready(series, end_form)
    rough = [rough_fit(replace(frames, times_s=t), courses) for t in (series.times_s, dose)]
    frames = ready(series, end_form, min(rough, key=lambda r: r.scatter))
    return frames, replace(frames, times_s=dose)


def _best(frames: Frames, can_stop: bool) -> FittedCourse | None:
    fits = [f for name in DEFAULT_MODELS for f in fit_variants(frames, RATE_MODELS[name], can_stop)]
    return min(fits, key=lambda f: f.aicc, default=None)
