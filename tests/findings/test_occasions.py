"""What a study file tells of a series: time zero, changed lamps, moved samples, other conditions."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.base.records import course_from_json, to_json
from glowkin.base.study import EventTold, Lamp, PhotographTold, Shot, StudyFile, StudySample
from glowkin.findings.track import Plan, track_photos
from made import HOUR, mixed, photographs, steady

HOURS = np.array([0.0, 1.0, 2.0, 4.0, 6.0, 9.0, 13.0, 18.0, 25.0, 36.0])
N = len(HOURS)


def first_order(hours, half):
    return 0.5 ** (np.maximum(hours, 0.0) / half)


def at(hour) -> str:
    return f"2026-05-{4 + (9 + hour) // 24:02}T{(9 + hour) % 24:02}:00:00"


def event(hour, what, *samples, **more) -> EventTold:
    return EventTold(at=at(hour), what=what, samples=samples, **more)


def tracked(photos, study=None, **plan):
    plan.setdefault("controls", ("control",))
    return track_photos(photos, Plan(**plan).told_by(study))


def series(half=6.0, begun=0.0, **how):
    return photographs(HOURS, {"vial": mixed(first_order(HOURS - begun, half)), "control": steady(N)}, **how)


def test_time_zero_is_when_the_vial_was_opened_also_among_the_photographs():
    study = StudyFile(event=(event(4, "opened"),))
    found = tracked(series(6.0, 4.0), study).sample("vial")
    low, high = found.half_time_interval_s
    assert low <= 6.0 * HOUR <= high
    assert high - low < 0.1 * 6.0 * HOUR
    assert [p.time_s for p in found.points[:4]] == [-4 * HOUR, -3 * HOUR, -2 * HOUR, 0.0]


def test_vials_opened_at_different_times_each_have_their_own_zero():
    signals = {
        "a": mixed(first_order(HOURS, 6.0)),
        "b": mixed(first_order(HOURS - 4.0, 6.0)),
        "control": steady(N),
    }
    study = StudyFile(event=(event(0, "opened", "a"), event(4, "opened", "b")))
    course = tracked(photographs(HOURS, signals), study)
    for name in "ab":
        low, high = course.sample(name).half_time_interval_s
        assert low <= 6.0 * HOUR <= high
    assert (course.start, course.sample("b").begun_s) == (at(0), 4 * HOUR)
    assert "no-start-time" not in course.flags
    assert all("condition-changed" not in s.flags for s in course.samples)


def test_a_start_stands_before_openings_and_an_option_before_both():
    study = StudyFile(start=at(0), event=(event(4, "opened"),))
    assert tracked(series(), study).start == at(0)
    assert tracked(series(), study).sample("vial").begun_s == 0.0
    assert tracked(series(), study, start="2026-05-04T08:00:00").sample("vial").points[0].time_s == HOUR


def test_an_opening_after_the_last_photograph_is_refused():
    with pytest.raises(WrongUseError, match=r"opened at .* is later than the last photograph"):
        tracked(series(), StudyFile(event=(event(300, "opened"),)))


def relit(photos, hour, factors):
    """The photographs under another lamp from then on: each sample's light times its own factor."""
    from dataclasses import replace

    out = []
    for photo, h in zip(photos, HOURS, strict=True):
        samples = tuple(
            replace(s, linear_rgb=tuple(v * factors[s.name] for v in s.linear_rgb)) if h >= hour else s
            for s in photo.samples
        )
        out.append(replace(photo, samples=samples))
    return out


@pytest.mark.parametrize(("seed", "factor"), [(0, 3.0), (1, 3.0), (2, 0.4), (3, 8.0)])
def test_brightness_is_not_compared_across_a_change_of_lamp(seed, factor):
    """Under the other lamp the sample's brightness beside the control's is another; the truth is 6 h."""
    photos = relit(series(seed=seed), 5, {"vial": factor, "control": 2.0})
    study = StudyFile(start=at(0), event=(event(5, "lamp changed"),))
    found = tracked(photos, study)
    low, high = found.sample("vial").half_time_interval_s
    assert "lamp-changed" in found.flags
    assert low <= 6.0 * HOUR <= high
    assert found.sample("vial").half_time_s == pytest.approx(6.0 * HOUR, rel=0.05)
    naive = tracked(photos, StudyFile(start=at(0))).sample("vial").half_time_s
    assert naive is None or abs(naive / (6.0 * HOUR) - 1.0) > 0.1


@pytest.mark.parametrize("factor", [0.2, 1.6, 9.0])
def test_what_does_not_change_is_not_called_changing_across_lamps(factor):
    still = {"still": steady(N, mixed([0.7])[0]), "control": steady(N)}
    photos = relit(photographs(HOURS, still), 5, {"still": factor, "control": 2.0})
    study = StudyFile(start=at(0), event=(event(5, "lamp changed"),))
    assert tracked(photos, study).sample("still").verdict == "no change seen"
    assert tracked(photos).sample("still").verdict == "changing"


def test_lamps_named_by_photograph_are_told_apart_as_well():
    lamps = (Lamp(name="a", peak_nm=365.0), Lamp(name="b", peak_nm=395.0))
    later = tuple(PhotographTold(file=f"{i:02}.dng", lamp="b") for i in range(5, N))
    study = StudyFile(start=at(0), lamp=lamps, shot=Shot(lamp="a"), photograph=later)
    photos = relit(series(), HOURS[5], {"vial": 3.0, "control": 2.0})
    course = tracked(photos, study)
    assert {"lamp-changed", "across-lamps"} <= set(course.flags)
    assert course.sample("vial").half_time_s == pytest.approx(6.0 * HOUR, rel=0.05)


def test_a_sample_followed_from_wet_to_dried_is_flagged_and_so_are_ratios_across_states():
    photos = series()
    told = (StudySample(name="vial", state="dried"), StudySample(name="control"))
    alike = tracked(photos, StudyFile(start=at(0), sample=told))
    assert "across-states" not in alike.sample("vial").flags
    assert alike.sample("vial").vial.states == ("dried",)
    wet = (PhotographTold(file="00.dng", state="wet"), PhotographTold(file="01.dng", state="wet"))
    changed = tracked(photos, StudyFile(start=at(0), sample=told, photograph=wet))
    assert "across-states" in changed.sample("vial").flags
    assert changed.sample("vial").vial.states == ("wet", "dried")
    assert "across-states" not in changed.sample("control").flags


def test_what_was_moved_is_compared_loosely_in_brightness():
    photos = relit(series(), 5, {"vial": 1.25, "control": 1.0})
    study = StudyFile(start=at(0), event=(event(5, "moved", "vial"),))
    course = tracked(photos, study)
    assert "arrangement-moved" in course.flags
    assert course.sample("vial").half_time_s == pytest.approx(6.0 * HOUR, rel=0.05)


@pytest.mark.parametrize("what", ["opened", "sealed", "warmed"])
def test_another_condition_within_the_series_is_flagged_for_the_vials_concerned(what):
    study = StudyFile(start=at(0), event=(event(5, what, "vial"),))
    course = tracked(series(), study)
    flagged = [s.name for s in course.samples if "condition-changed" in s.flags]
    assert flagged == ["vial"]
    late = StudyFile(start=at(0), event=(event(40, what),))
    assert all("condition-changed" not in s.flags for s in tracked(series(), late).samples)


def test_events_are_in_the_record_and_come_back_from_it():
    study = StudyFile(start=at(0), event=(event(5, "sealed", notes="wax"), event(2, "moved")))
    course = tracked(series(), study)
    assert [(e.what, e.time_s) for e in course.events] == [("moved", 2 * HOUR), ("sealed", 5 * HOUR)]
    again = course_from_json(to_json(course))
    assert (again.events, again.samples[0].vial) == (course.events, course.samples[0].vial)


def test_a_lamp_with_nothing_to_steady_it_is_declared():
    assert "lamp-not-steadied" in tracked(series(), controls=()).flags
    assert "lamp-not-steadied" not in tracked(series()).flags


def test_storages_batches_and_temperatures_come_from_the_study_file():
    rates = {"v1": 4.0, "v2": 5.0, "v3": 20.0, "v4": 24.0}
    signals = {name: mixed(first_order(HOURS, half)) for name, half in rates.items()}
    where = {"v1": "warm", "v2": "warm", "v3": "cold", "v4": "cold"}
    from glowkin.base.study import Batch, Condition

    study = StudyFile(
        start=at(0),
        controls=("control",),
        batch=(Batch(name="A"), Batch(name="B")),
        condition=(
            Condition(name="warm", kind="dry", temperature_c=25.0),
            Condition(name="cold", kind="dry", temperature_c=5.0),
        ),
        sample=tuple(
            StudySample(name=n, condition=where[n], batch="AB"[i % 2], replicate=str(i))
            for i, n in enumerate(rates)
        ),
    )
    course = track_photos(photographs(HOURS, {**signals, "control": steady(N)}), Plan().told_by(study))
    assert [(s.name, s.vials, s.temperature_c, s.batches) for s in course.storages] == [
        ("cold", ("v3", "v4"), 5.0, ("A", "B")),
        ("warm", ("v1", "v2"), 25.0, ("A", "B")),
    ]
    assert (course.arrhenius[0].name, course.arrhenius[0].temperatures_c) == ("dry", (5.0, 25.0))
    assert all("single-vial" not in s.flags for s in course.samples)


def test_the_door_for_python_takes_a_study_file(tmp_path):
    import glowkin

    path = tmp_path / "study.toml"
    path.write_text(
        'start = "2026-05-04T09:00"\ncontrols = ["steady"]\n'
        '[[sample]]\nname = "red"\n[[sample]]\nname = "steady"\n',
        encoding="utf-8",
    )
    course = glowkin.track(series(), study=path)
    assert ([s.name for s in course.samples], course.control) == (["red", "steady"], "steady")
    assert glowkin.track(series(), names=["a", "steady"], study=str(path)).samples[0].name == "a"
