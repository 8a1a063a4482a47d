"""Weighings over time, beside the light: does the mass lag, as it should where the surface converts first?"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from math import exp
from statistics import NormalDist
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotMeasureError
from glowkin.base.preparations import LightPoint, MassCourse, Remark, Weighed
from glowkin.lab.budget import Z95, Figure, Known, carried
from glowkin.lab.conversion import mass_change
from glowkin.lab.preparation import net_u, reading_u, sure_enough
from glowkin.lab.weights import weight_inputs

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.preparations import Preparation
    from glowkin.base.records import SampleCourse, TimeCourse
    from glowkin.lab.preparation_file import PreparationFile, Step

LAGS = "Mass lags light: expected if the surface converts first."
LEADS = "Mass leads light: check the weighing."
_NO_START = (
    "The track record has no start but its first photograph, so both may count from different times. Give "
    "glowkin track --start."
)
_Z90 = NormalDist().inv_cdf(0.95)
_ON_ITS_WAY = (0.1, 0.9)
_EARLY = 0.02
"""The first weighing must lie in this share of the time weighed, to count as that of the start; and the light
must not be further at it, by ``_FAR`` standard uncertainties: by chance it is once in 700.
"""
_FAR = 3.0
_AT_ONCE = 0.01
"""A weighing this share of the time since the start away from a photograph counts as made with it."""
_STEEPEST = 4.0 / exp(1.0)
"""Fraction by logarithm of time: n/e is the steepest of Avrami's equation, here n = 4, theory's largest."""


def with_weighings(
    preparation: Preparation, told: PreparationFile, track: TimeCourse | None = None, sample: str = ""
) -> Preparation:
    """The preparation with its weighings, and the light of ``sample`` beside them where there is a track.

    Raises ``CannotMeasureError`` where the track has no such sample, or its times cannot be set beside.
    """
    if not told.weighing:
        if track is not None:
            raise CannotMeasureError("--track needs weighings to stand beside; give [[weighing]] in the file")
        return preparation
    times, masses = _ordered(told)
    inputs = _inputs(told, masses)
    first = carried(lambda x: {"net": x["weighing 0"] - x["tare"]}, inputs)["net"]
    sure_enough({"net mass of the first weighing": Known(first.value, first.u), "purity": inputs["purity"]})
    figures = carried(lambda x: _fractions(told.conversion[0], len(times), x), inputs)
    expected = preparation.conversions[0].mass_change_percent
    followed = None if track is None else _followed(track, sample or told.vial.sample)
    light = [] if track is None or followed is None else _light(followed, track, told)
    late = times[0] > _EARLY * times[-1] or _under_way(light, times[0])
    remarks = _remarks(figures, len(times), expected, late=late)
    points = [_weighed(i, t, figures) for i, t in enumerate(times)]
    within = told.vial.agree_within
    course = MassCourse(
        sample or told.vial.sample or "the vial", "no light",
        "No track record was given, so the mass stands alone; give one with --track.",
        expected, within, tuple(points),
    )  # fmt: skip
    if track is not None and followed is not None:
        remarks += [] if track.start else [Remark("track without start", _NO_START)]
        course = _beside(replace(course, sample=followed.name, light=tuple(light)), figures, late=late)
    return replace(preparation, course=course, remarks=(*preparation.remarks, *remarks))


def _ordered(told: PreparationFile) -> tuple[list[float], list[tuple[float, float | None]]]:
    """Seconds after the start, in order, with what the balance showed and its given uncertainty."""
    start = _start(told)
    rows = []
    for w in told.weighing:
        after = (w.time - start).total_seconds() if isinstance(w.time, datetime) and start else w.time
        assert isinstance(after, float | int)  # noqa: S101 - for the type checker
        rows.append((float(after), (w.mass_g, w.uncertainty_g)))
    rows.sort(key=lambda row: row[0])
    return [t for t, _ in rows], [m for _, m in rows]


def _start(told: PreparationFile) -> datetime | None:
    """When the vial was opened: as given, else the first dated weighing, else unknown."""
    if told.vial.start is not None:
        return told.vial.start
    return min((w.time for w in told.weighing if isinstance(w.time, datetime)), default=None)


def _inputs(told: PreparationFile, masses: Sequence[tuple[float, float | None]]) -> dict[str, Known]:
    """The vial's tare is one reading, common to all; without one each mass was tared for itself."""
    step, vial = told.conversion[0], told.vial
    inputs = weight_inputs([step.from_, step.to])
    inputs["purity"] = Known(vial.purity_percent, vial.purity_uncertainty_percent or 0.0)
    inputs["tare"] = Known(vial.tare_g or 0.0, reading_u(told.balance) if vial.tare_g else 0.0)
    single = reading_u(told.balance) if vial.tare_g else net_u(told.balance, None)
    for i, (mass, given) in enumerate(masses):
        inputs[f"weighing {i}"] = Known(mass, single if given is None else given)
    return inputs


def _fractions(step: Step, n: int, x: Mapping[str, float]) -> dict[str, float]:
    """Net masses, and fractions converted."""
    whole = mass_change(step, x) * x["purity"] / 100.0
    net = [x[f"weighing {i}"] - x["tare"] for i in range(n)]
    out = {f"net {i}": m for i, m in enumerate(net)}
    out |= {f"fraction {i}": (m / net[0] - 1.0) / whole + 0.0 for i, m in enumerate(net)}
    return out


def _weighed(i: int, t: float, figures: Mapping[str, Figure]) -> Weighed:
    net, fraction = figures[f"net {i}"], figures[f"fraction {i}"]
    return Weighed(t, net.value, net.interval, fraction.value, None if i == 0 else fraction.interval)


def _remarks(figures: Mapping[str, Figure], n: int, expected: float, *, late: bool) -> list[Remark]:
    out = []
    last = figures[f"fraction {n - 1}"]
    most = max((figures[f"fraction {i}"] for i in range(1, n)), key=lambda f: f.interval[0])
    least = min((figures[f"fraction {i}"] for i in range(1, n)), key=lambda f: f.interval[1])
    if most.interval[0] > 1.0:
        out.append(
            Remark(
                "more than expected",
                f"The mass changed by more than the conversion can account for ({expected:.2f} %): solvent, "
                "impurity, a further step, or spilled sample. Check these before trusting the fractions.",
            )
        )
    if least.interval[1] < 0.0:
        out.append(
            Remark(
                "wrong way",
                "The mass went the other way than the conversion's: damp, a wrong tare, or a wrong formula.",
            )
        )
    if n > 2:
        step = last.minus(figures[f"fraction {n - 2}"])
        if abs(step.value) <= Z95 * step.u:
            out.append(
                Remark(
                    "last two alike",
                    "The last two weighings do not differ beyond the balance's uncertainty: the mass may be "
                    "constant, if the time between them was long enough.",
                )
            )
    if any(figures[f"net {i}"].u == 0.0 for i in range(n)):
        out.append(
            Remark("no balance", "No uncertainty of the balance is given, so no verdict rests on the masses. "
                   "Give [balance].")
        )  # fmt: skip
    if late:
        out.append(
            Remark("late first weighing", "The first weighing is not that of the start, so what was lost "
                   "before it is unknown. Weigh when the vial is opened.")
        )  # fmt: skip
    return out


def _followed(track: TimeCourse, name: str) -> SampleCourse:
    there = ", ".join(s.name for s in track.samples) or "none"
    if not name:
        if len(track.samples) == 1:
            return track.samples[0]
        raise CannotMeasureError(f"which sample was weighed? Give vial.sample or --sample; there are {there}")
    found = track.sample(name)
    if found is None:
        raise CannotMeasureError(f"the track record has no sample {name!r}; there are {there}")
    return found


def _light(followed: SampleCourse, track: TimeCourse, told: PreparationFile) -> list[LightPoint]:
    """The light's fractions, in order, their times counted from the weighings' start."""
    shift = _shift(track.start, told)
    return sorted(
        (
            LightPoint(p.time_s + shift, 1.0 - p.fraction_start, _less(p.high), _less(p.low))
            for p in followed.points
            if p.fraction_start is not None
        ),
        key=lambda p: p.time_s,
    )


def _under_way(light: Sequence[LightPoint], time_s: float) -> bool:
    """Whether the light shows that the change had begun by then, beyond its uncertainty."""
    seen = light_at(light, time_s)
    return seen is not None and seen[0].value - seen[1] - _FAR * seen[0].u > _EARLY


def _beside(course: MassCourse, figures: Mapping[str, Figure], *, late: bool) -> MassCourse:
    if not course.light:
        return replace(
            course, verdict="cannot tell",
            sentence="Cannot tell: this sample's light is not amount, since its luminance ratio is unknown.",
        )  # fmt: skip
    points, gaps = [], []
    for i, point in enumerate(course.points):
        found = None if i == 0 else light_at(course.light, point.time_s)
        if found is None:
            points.append(point)
            continue
        seen, bound = found
        gap = seen.minus(figures[f"fraction {i}"])
        gaps.append((gap, bound, seen.value))
        points.append(
            replace(
                point, light_fraction_converted=seen.value, light_interval=_wide(seen, bound),
                difference=gap.value, difference_interval=_wide(gap, bound),
            )
        )  # fmt: skip
    known = all(figures[f"net {i}"].u for i in range(len(points)))
    verdict, sentence = told_of(gaps, course.agree_within, known=known, late=late)
    return replace(course, points=tuple(points), verdict=verdict, sentence=sentence)


def _less(end: float | None) -> float | None:
    return None if end is None else 1.0 - end


def _shift(track_start: str | None, told: PreparationFile) -> float:
    """What to add to the track's times so that they count from the weighings' start.

    Raises ``CannotMeasureError`` where one start has a zone and the other none.
    """
    start = _start(told)
    if start is None or track_start is None:
        return 0.0
    seen = datetime.fromisoformat(track_start)
    if (seen.tzinfo is None) != (start.tzinfo is None):
        raise CannotMeasureError(
            f"the weighings' start, {start}, and the track's, {track_start}: one has a zone, the other none; "
            "write vial.start as the track has it"
        )
    return (seen - start).total_seconds()


def light_at(light: Sequence[LightPoint], time_s: float) -> tuple[Figure, float] | None:
    """The light's fraction between two photographs that tell its interval, and how far the course may lie
    from it besides; None outside all such. A spoiled photograph has none, and is passed over.

    The middle of both photographs' fractions: any course that goes one way lies within half their difference.
    A weighing within a hundredth of the time of a photograph takes this one's, with what a course can change
    meanwhile.
    """
    known = [p for p in light if p.low is not None and p.high is not None]
    if len(known) == 1 and known[0].time_s == time_s:
        return _between(known[0], known[0], time_s)
    for a, b in pairwise(known):
        if a.time_s <= time_s <= b.time_s:
            return _between(a, b, time_s)
    return None


def _between(a: LightPoint, b: LightPoint, time_s: float) -> tuple[Figure, float]:
    near = min(a, b, key=lambda p: abs(p.time_s - time_s))
    apart, half = abs(near.time_s - time_s), abs(b.fraction_converted - a.fraction_converted) / 2.0
    if apart <= _AT_ONCE * time_s or apart == 0.0:
        moved = _STEEPEST * apart / time_s if apart else 0.0
        if moved < half:
            return Figure(near.fraction_converted, {"light": _own(near)}), moved
    middle = (a.fraction_converted + b.fraction_converted) / 2.0
    return Figure(middle, {"light": max(_own(a), _own(b))}), half


def _own(p: LightPoint) -> float:
    assert p.low is not None  # noqa: S101 - chosen by light_at
    assert p.high is not None  # noqa: S101 - chosen by light_at
    return (p.high - p.low) / (2.0 * Z95)


def _wide(figure: Figure, bound: float) -> tuple[float, float]:
    """95 % about whatever lies within the bound."""
    return figure.interval[0] - bound, figure.interval[1] + bound


def told_of(
    gaps: Sequence[tuple[Figure, float, float]], within: float, *, known: bool = True, late: bool = False
) -> tuple[str, str]:
    """Verdict and sentence of the differences light minus mass, each with the bound beside it and the light's
    fraction.

    A lag or lead is told where one difference lies beyond none at 95 % for all of them together (Bonferroni,
    which holds however they are correlated). They agree where every 90 % interval stays within the difference
    that does not matter (two one-sided tests at 5 %) and the light is seen on its way at least once.
    """
    if not known:
        return _cannot("the balance's uncertainty is not given")
    if late:
        return _cannot("the first weighing is not that of the start")
    if not gaps:
        return _cannot("no weighing lies between photographs that tell an amount")
    k = NormalDist().inv_cdf(1.0 - 0.025 / len(gaps))
    lags = any(g.value - bound > k * g.u for g, bound, _ in gaps)
    leads = any(g.value + bound < -k * g.u for g, bound, _ in gaps)
    if lags and leads:
        return _cannot(
            "mass lags light at some times and leads it at others; check times, sample and weighing"
        )
    if lags or leads:
        return ("mass lags light", LAGS) if lags else ("mass leads light", LEADS)
    return _alike(gaps, within)


def _alike(gaps: Sequence[tuple[Figure, float, float]], within: float) -> tuple[str, str]:
    """What to say where no difference is beyond the uncertainty."""
    share = f"within {100 * within:g} % of the conversion"
    if not any(_ON_ITS_WAY[0] <= light <= _ON_ITS_WAY[1] for _, _, light in gaps):
        return _cannot("no weighing was made while the light was on its way")
    if all(abs(g.value) + bound + _Z90 * g.u <= within for g, bound, _ in gaps):
        return "agree", f"Mass and light agree {share}."
    return _cannot(f"no difference beyond the uncertainty, which is too wide to call them alike {share}")


def _cannot(why: str) -> tuple[str, str]:
    return "cannot tell", f"Cannot tell: {why}."
