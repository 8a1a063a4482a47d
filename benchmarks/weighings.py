"""How often mass is said to lag or lead its light, on drawn courses: ``python benchmarks/weighings.py``.

A vial of 0.5 g is weighed at the start and four times after, on a balance of 0.1 mg; its light is seen at the
same times. Mass lags by so much of the conversion half way. The light's errors are drawn for each photograph
alone, or one for all of them.

Then weighings anywhere between sparse photographs, no lag, by courses that the code does not know.
"""

from __future__ import annotations

import tomllib
from collections import Counter

import numpy as np

from glowkin.base.records import Ratio, SampleCourse, TimeCourse, TrackPoint
from glowkin.base.uncertainty import Z95
from glowkin.lab.preparation import prepare
from glowkin.lab.preparation_file import PreparationFile
from glowkin.lab.weighings import with_weighings
from glowkin.scene.series import COURSES, progress

SERIES = 500
SERIES_WITHOUT_LAG = 2500
"""More, since few of them may be told a lag."""
HOURS = np.array((0.0, 3.0, 6.0, 12.0, 24.0))
LIGHT = np.array((0.0, 0.3, 0.55, 0.8, 0.97))
LOSS = 2 * 18.015 / 524.776
READING_G = float(np.hypot(0.0001, 0.0001 / np.sqrt(12.0)))
HEAD = """
[balance]
repeatability_g = 0.0001
readability_g = 0.0001
[vial]
tare_g = 8.0
[[conversion]]
from = "(C6H14N2)[MnBr4(H2O)2]"
to = "(C6H14N2)MnBr4"
gives_off = ["2 H2O"]
"""


def weighed(converted: np.ndarray, rng: np.random.Generator, hours: np.ndarray = HOURS) -> PreparationFile:
    """A preparation file of a vial whose mass has converted so far, each reading with its error."""
    shown = 8.0 + 0.5 * (1.0 - LOSS * converted) + rng.normal(0.0, READING_G, len(converted))
    rows = [f"[[weighing]]\ntime = '{h:.4f}h'\nmass_g = {g:.7f}\n" for h, g in zip(hours, shown, strict=True)]
    return PreparationFile.model_validate(tomllib.loads(HEAD + "".join(rows)))


def seen(half: float, rng: np.random.Generator, *, common: bool) -> TimeCourse:
    """The light's course, known to ``half`` either way (95 %)."""
    errors = rng.normal(0.0, half / Z95, 1 if common else len(LIGHT)) * np.ones(len(LIGHT))
    return lit(LIGHT + errors, HOURS, half)


def lit(fractions: np.ndarray, hours: np.ndarray, half: float) -> TimeCourse:
    """The course of these fractions converted."""
    points = tuple(
        TrackPoint(3600.0 * h, "", 1 - f, 1 - f - half, 1 - f + half, None, None, None, None)
        for h, f in zip(hours.tolist(), fractions.tolist(), strict=True)
    )
    course = SampleCourse(
        "vial", "changing", True, Ratio(10.0, 9.0, 11.0), None, None, (), None, None, None, None, (), points
    )
    return TimeCourse((course,), (), start="2026-05-04T09:00")


def gaps() -> None:
    """How often the light's interval between photographs holds the truth, its width, and false verdicts."""
    print("\ncourse              | light held  mean width | lags    leads   (no lag; light ± 0.02)")
    for name, (model, exponent, wait) in COURSES.items():
        rng, held, widths, verdicts = np.random.default_rng(7), [], [], Counter[str]()
        for _ in range(SERIES):
            half_time, half = np.exp(rng.uniform(np.log(4.0), np.log(40.0))), 0.02
            photographed = np.concatenate(([0.0], np.sort(rng.uniform(2.0, 96.0, 3)), [100.0]))
            hours = np.concatenate(([0.0], np.sort(rng.uniform(2.0, 96.0, 3))))
            told = weighed(progress(model, hours / half_time - wait, exponent), rng, hours)
            errors = rng.normal(0.0, half / Z95, len(photographed))
            light = lit(
                progress(model, photographed / half_time - wait, exponent) + errors, photographed, half
            )
            course = with_weighings(prepare(told), told, light).course
            if course is None:
                continue
            verdicts[course.verdict] += 1
            for point, fraction in zip(
                course.points[1:], progress(model, hours[1:] / half_time - wait, exponent), strict=True
            ):
                if point.light_interval is not None:
                    low, high = point.light_interval
                    held.append(low <= fraction <= high)
                    widths.append(high - low)
        shares = [verdicts[v] / SERIES for v in ("mass lags light", "mass leads light")]
        print(
            f"{name:19s} | {np.mean(held):9.1%}  {np.mean(widths):10.2f} | {shares[0]:5.1%}  {shares[1]:6.1%}"
        )


def main() -> None:
    """A line for each kind of course."""
    print("light ±  errors      lag  | lags    leads   agree   cannot tell")
    for half in (0.02, 0.06, 0.15):
        for common in (False, True):
            for lag in (0.0, 0.06, 0.12, -0.12):
                rng = np.random.default_rng(11)
                verdicts: Counter[str] = Counter()
                n = SERIES if lag else SERIES_WITHOUT_LAG
                for _ in range(n):
                    told = weighed(LIGHT - lag * 4.0 * LIGHT * (1.0 - LIGHT), rng)
                    course = with_weighings(prepare(told), told, seen(half, rng, common=common)).course
                    verdicts[course.verdict if course else ""] += 1
                names = ("mass lags light", "mass leads light", "agree", "cannot tell")
                shares = "  ".join(f"{100 * verdicts[name] / n:5.1f}%" for name in names)
                print(f"{half:7.2f}  {'common' if common else 'own   '}  {lag:6.2f}  | {shares}")
    gaps()


if __name__ == "__main__":
    main()
