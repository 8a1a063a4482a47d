"""Weighings beside the light: what they are worth, and when the mass is said to lag."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest
from uncertainties import ufloat

from glowkin.base.errors import CannotMeasureError
from glowkin.base.records import Ratio, SampleCourse, TimeCourse, TrackPoint
from glowkin.lab.preparation import prepare
from glowkin.lab.preparation_file import PreparationFile
from glowkin.lab.weighings import with_weighings
from glowkin.lab.weights import standard_weights
from glowkin.scene.series import COURSES, progress

HEAD = """
[balance]
repeatability_g = 0.0001
readability_g = 0.0001
[[conversion]]
from = "(C6H14N2)[MnBr4(H2O)2]"
to = "(C6H14N2)MnBr4"
gives_off = ["2 H2O"]
[vial]
sample = "A"
tare_g = 8.0
"""
LOSS = 2 * 18.015 / 524.776
HOURS = (0.0, 3.0, 6.0, 12.0, 24.0)


def of_fractions(fractions, hours=HOURS, head=HEAD, grams=0.5):
    """A file whose vial has converted so far, by its mass."""
    rows = [
        f"[[weighing]]\ntime = '{h:g}h'\nmass_g = {8.0 + grams * (1 - LOSS * f):.7f}\n"
        for h, f in zip(hours, fractions, strict=True)
    ]
    return PreparationFile.model_validate(tomllib.loads(head + "".join(rows)))


def followed(fractions, hours=HOURS, half=0.02, name="A", start=None):
    """A track record whose vial has converted so far, by its light, with 95 % intervals."""
    points = tuple(
        TrackPoint(3600.0 * h, "p", 1 - f, 1 - f - half, 1 - f + half, None, None, None, None)
        for h, f in zip(hours, fractions, strict=True)
    )
    course = SampleCourse(
        name, "changing", True, Ratio(10.0, 9.0, 11.0), None, None, (), None, None, None, None, (), points
    )
    return TimeCourse((course,), (), start=start)


def course_of(mass, light=None, **how):
    told = of_fractions(mass, **how)
    return with_weighings(prepare(told), told, light).course


HALFWAY = (0.0, 0.3, 0.55, 0.8, 0.97)


def test_fractions_are_those_weighed():
    course = course_of(HALFWAY)
    assert [p.fraction_converted for p in course.points] == pytest.approx(HALFWAY, abs=1e-4)
    assert course.expected_percent == pytest.approx(-6.866, abs=1e-3)
    assert course.verdict == "no light"


def test_their_uncertainty_is_that_of_an_independent_library():
    """The package uncertainties: the first weighing and the tare are common to all."""
    reading = np.sqrt(0.0001**2 + 0.0001**2 / 12)
    course = course_of(HALFWAY)
    w = {s: ufloat(v, b / np.sqrt(3)) for s, (v, b) in standard_weights().items()}
    water = 2 * (2 * w["H"] + w["O"])
    whole = water / (6 * w["C"] + 14 * w["H"] + 2 * w["N"] + w["Mn"] + 4 * w["Br"] + water)
    tare = ufloat(8.0, reading)
    net = [ufloat(p.mass_g + 8.0, reading) - tare for p in course.points]
    for i, p in enumerate(course.points[1:], 1):
        oracle = (1 - net[i] / net[0]) / whole
        assert p.fraction_converted == pytest.approx(oracle.n, rel=1e-6)
        low, high = p.fraction_interval
        assert (high - low) / 2 == pytest.approx(1.959964 * oracle.s, rel=2e-3)


def test_mass_that_lags_is_told():
    course = course_of((0.0, 0.1, 0.3, 0.6, 0.95), followed(HALFWAY))
    assert course.verdict == "mass lags light"
    assert course.sentence == "Mass lags light: expected if the surface converts first."
    assert course.points[2].difference == pytest.approx(0.25, abs=1e-3)


def test_mass_that_leads_is_told():
    course = course_of((0.0, 0.5, 0.8, 0.95, 1.0), followed(HALFWAY))
    assert course.verdict == "mass leads light"
    assert course.sentence == "Mass leads light: check the weighing."


def test_agreement_needs_narrow_intervals():
    assert course_of(HALFWAY, followed(HALFWAY)).verdict == "agree"
    wide = course_of(HALFWAY, followed(HALFWAY, half=0.2))
    assert wide.verdict == "cannot tell"
    assert "too wide" in wide.sentence


def test_crossing_is_not_called_either():
    course = course_of((0.0, 0.1, 0.55, 0.95, 1.0), followed(HALFWAY))
    assert course.verdict == "cannot tell"
    assert "at others" in course.sentence


def test_light_that_is_no_amount_gives_no_verdict():
    light = followed(HALFWAY)
    points = tuple(
        TrackPoint(p.time_s, "p", None, None, None, p.fraction_start, None, None, None)
        for p in light.samples[0].points
    )
    from dataclasses import replace

    blind = replace(light, samples=(replace(light.samples[0], points=points, luminance_ratio=None),))
    course = course_of(HALFWAY, blind)
    assert course.verdict == "cannot tell"
    assert "luminance ratio is unknown" in course.sentence


BARE = HEAD.replace("repeatability_g = 0.0001\nreadability_g = 0.0001\n", "")


@pytest.mark.parametrize("known", ["", "[[weighing]]\ntime = '48h'\nmass_g = 8.46\nuncertainty_g = 0.001\n"])
def test_without_a_balance_there_is_no_verdict(known):
    """Also where the uncertainty of one weighing alone is given."""
    course = course_of((0.0, 0.1, 0.3, 0.6, 0.95), followed(HALFWAY), head=known + BARE)
    assert course.verdict == "cannot tell"
    assert "uncertainty is not given" in course.sentence


def test_a_late_first_weighing_gives_no_verdict():
    late = course_of((0.1, 0.3, 0.6, 0.95), followed(HALFWAY), hours=HOURS[1:])
    assert late.verdict == "cannot tell"
    assert "not that of the start" in late.sentence


def test_a_first_weighing_with_the_light_under_way_is_late():
    """Dated weighings without vial.start count from the first: here opened and photographed 6 h before."""
    rows = "".join(
        f"[[weighing]]\ntime = 2026-05-04T{9 + h:02d}:00:00\nmass_g = {8.0 + 0.5 * (1 - LOSS * f):.7f}\n"
        for h, f in ((6, 0.55), (12, 0.8))
    )
    told = PreparationFile.model_validate(tomllib.loads(HEAD + rows))
    prep = with_weighings(prepare(told), told, followed(HALFWAY, start="2026-05-04T09:00"))
    assert prep.course.verdict == "cannot tell"
    assert "not that of the start" in prep.course.sentence
    assert "late first weighing" in [r.cause for r in prep.remarks]


@pytest.mark.parametrize(("model", "exponent", "wait"), COURSES.values(), ids=COURSES)
@pytest.mark.parametrize("half_time", [3.0, 8.0, 15.0, 40.0])
def test_mass_that_goes_with_the_light_leads_nowhere_between_photographs(model, exponent, wait, half_time):
    """Photographs at 12 h and 96 h, weighings between and minutes after; no lag, no errors drawn."""

    def of(hours):
        return progress(model, np.atleast_1d(hours) / half_time - wait, exponent)

    photographed, weighed = np.array((0.0, 12.0, 96.0)), np.array((0.0, 12.1, 14.0, 24.0, 48.0, 90.0))
    truth = of(weighed)
    course = course_of(tuple(truth), followed(of(photographed), photographed), hours=weighed)
    assert course.verdict in {"cannot tell", "agree"}
    for point, fraction in zip(course.points[1:], truth[1:], strict=True):
        low, high = point.light_interval
        assert low - 1e-4 <= fraction <= high + 1e-4
        assert low >= of(12.0) - 0.021 - 0.015  # no wider than both photographs with their errors
        assert high <= of(96.0) + 0.021


def test_a_mass_outside_both_photographs_is_still_told():
    """12 h: 0.55, 96 h: 0.75; masses of 0.3 and 0.95 at 24 h lie outside whatever the course did."""
    light = followed((0.0, 0.55, 0.75), (0.0, 12.0, 96.0))
    assert course_of((0.0, 0.3), light, hours=(0, 24)).verdict == "mass lags light"
    assert course_of((0.0, 0.95), light, hours=(0, 24)).verdict == "mass leads light"


def test_photographs_before_the_first_weighing_are_no_error():
    light = followed((0.0, 0.3, 0.97), (-2.0, 1.0, 24.0))
    assert course_of((0.0, 0.5), light, hours=(0, 12)).points[1].light_fraction_converted == pytest.approx(
        0.635
    )


def test_a_weighing_minutes_after_a_photograph_takes_this_one():
    light = followed((0.0, 0.55, 0.97), (0.0, 12.0, 96.0))
    point = course_of((0.0, 0.55), light, hours=(0, 12.05)).points[1]
    assert point.light_fraction_converted == pytest.approx(0.55)
    assert point.light_interval[1] - point.light_interval[0] < 0.055


def test_a_photograph_that_tells_no_interval_is_passed_over():
    """As a spoiled one: the middle is of the one before it and the one after it."""
    track = followed((0.0, 0.3, 0.9, 0.55, 0.97), (0.0, 3.0, 4.0, 6.0, 24.0))
    spoiled = replace(track.samples[0].points[2], low=None, high=None)
    points = (*track.samples[0].points[:2], spoiled, *track.samples[0].points[3:])
    bent = replace(track, samples=(replace(track.samples[0], points=points),))
    without = followed((0.0, 0.3, 0.55, 0.97), (0.0, 3.0, 6.0, 24.0))
    found, expected = (course_of((0.0, 0.35, 0.97), light, hours=(0, 4.5, 24)) for light in (bent, without))
    assert found.points == expected.points
    assert found.points[1].light_fraction_converted == pytest.approx(0.425)
    assert (found.verdict, found.sentence) == (expected.verdict, expected.sentence)


def test_starts_that_differ_are_set_beside_each_other():
    head = HEAD.replace('sample = "A"', 'sample = "A"\nstart = 2026-05-04T09:00:00')
    same = course_of(HALFWAY, followed(HALFWAY, start="2026-05-04T09:00"), head=head)
    assert same.verdict == "agree"
    later = followed(HALFWAY, [h - 2 for h in HOURS], start="2026-05-04T11:00")
    assert course_of(HALFWAY, later, head=head).verdict == "agree"
    with pytest.raises(CannotMeasureError, match="one has a zone"):
        course_of(HALFWAY, followed(HALFWAY, start="2026-05-04T09:00+02:00"), head=head)


def test_dated_weighings_count_from_the_first_of_them():
    rows = "".join(
        f"[[weighing]]\ntime = 2026-05-04T{9 + h:02d}:00:00\nmass_g = {8.0 + 0.5 * (1 - LOSS * f):.7f}\n"
        for h, f in ((0, 0.0), (3, 0.3), (6, 0.55), (12, 0.8))
    )
    told = PreparationFile.model_validate(tomllib.loads(HEAD + rows))
    light = followed(HALFWAY, [h + 2 for h in HOURS], start="2026-05-04T07:00")
    prep = with_weighings(prepare(told), told, light)
    assert [p.time_s for p in prep.course.points] == [0.0, 10800.0, 21600.0, 43200.0]
    assert prep.course.verdict == "agree"
    assert prep.remarks == ()


def test_a_track_that_was_told_no_start_is_remarked_on():
    told = of_fractions(HALFWAY)
    remarks = with_weighings(prepare(told), told, followed(HALFWAY)).remarks
    assert [r.cause for r in remarks] == ["track without start"]


def test_the_sample_must_be_in_the_record():
    with pytest.raises(CannotMeasureError, match="no sample 'A'; there are B"):
        course_of(HALFWAY, followed(HALFWAY, name="B"))


def test_odd_masses_are_remarked_on():
    def causes(fractions):
        told = of_fractions(fractions)
        return [r.cause for r in with_weighings(prepare(told), told).remarks]

    assert "more than expected" in causes((0.0, 0.5, 0.9, 1.2, 1.3))
    assert "wrong way" in causes((0.0, -0.2, 0.1, 0.2, 0.3))
    assert "last two alike" in causes((0.0, 0.5, 0.9, 1.0, 1.0))
    assert causes(HALFWAY) == []


@pytest.mark.parametrize("common", [False, True], ids=["own", "common"])
@pytest.mark.parametrize(
    ("lag", "verdict", "least", "most"),
    [
        (0.0, "mass lags light", 0.0, 0.05),
        (0.0, "mass leads light", 0.0, 0.05),
        (0.12, "mass lags light", 0.95, 1.0),
        (-0.12, "mass leads light", 0.95, 1.0),
    ],
)
def test_verdicts_are_right_as_often_as_they_claim(lag, verdict, least, most, common):
    """Drawn with errors of balance and camera, intervals 0.02 either way in light and 0.01 in mass. A lag
    or lead that is not there is told in at most 5 % each, one of 0.12 half way nearly always; also where the
    light's errors are one for all photographs.
    """
    rng = np.random.default_rng(3)
    reading = np.sqrt(0.0001**2 + 0.0001**2 / 12)
    truth = np.array(HALFWAY)
    told, n = 0, 200
    for _ in range(n):
        noise = rng.normal(0, reading, 5) / (0.5 * LOSS)
        noise -= noise[0]  # the first weighing is the reference
        seen = truth + rng.normal(0, 0.02 / 1.96, 1 if common else 5)
        weighed = truth - lag * 4 * truth * (1 - truth) + noise
        told += course_of(tuple(weighed), followed(tuple(seen))).verdict == verdict
    assert least <= told / n <= most
