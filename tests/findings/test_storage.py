"""Storages compared by how vials scatter, and rates against temperature."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from glowkin.base.records import SampleCourse, TimeCourse, course_from_json, to_json
from glowkin.base.storages import Vial, vial_of
from glowkin.findings.arrhenius import fit_arrhenius
from glowkin.findings.batches import between_variance, typical, typical_by_batch, within_batches
from glowkin.findings.ratios import compare_half_times
from glowkin.findings.storage import storages_found
from glowkin.telling.provenance import flag_rows
from glowkin.telling.storage_table import storages_table
from glowkin.telling.tables import ratios_table

HOUR = 3600.0


def vial(name, hours=None, width=1e-9, longer_than=None) -> SampleCourse:
    """A vial with a half-time whose 95 % limits lie this far off in its logarithm, or with a bound."""
    half = None if hours is None else hours * HOUR
    interval = None if half is None else (half * np.exp(-width), half * np.exp(width))
    verdict = "changing" if half else "no change seen"
    longer = None if longer_than is None else longer_than * HOUR
    return SampleCourse(name, verdict, True, None, None, None, (), half, interval, None, longer, (), ())


def stored(**vials):
    """Vials of storages by their half-times in hours."""
    return [vial(f"{name} {i}", h) for name, hours in vials.items() for i, h in enumerate(hours, 1)]


# Trials of a vaccine, 2 x 2 tables as in textbooks of meta-analysis (Colditz et al., JAMA 271, 698, 1994;
# from memory): cases and others, treated, then not.
TRIALS = np.array(
    [(4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
     (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232),
     (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825)], dtype=float
)  # fmt: skip


def test_the_variance_between_is_that_of_the_textbook_example():
    a, b, c, d = TRIALS.T
    y = np.log(a / (a + b) * (c + d) / c)
    own = 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)
    # Remembered data are right if the published fixed-effect and DerSimonian-Laird figures come out.
    w = 1 / own
    fixed = np.sum(w * y) / np.sum(w)
    moment = (np.sum(w * (y - fixed) ** 2) - 12) / (np.sum(w) - np.sum(w**2) / np.sum(w))
    assert (fixed, moment) == (pytest.approx(-0.4303, abs=1e-4), pytest.approx(0.3088, abs=1e-4))
    # Paule & Mandel's estimate is published as 0.318 (Viechtbauer, J. Stat. Softw. 36, 2010; from memory).
    assert between_variance(y, own) == pytest.approx(0.318, abs=1e-3)


def test_of_exact_half_times_the_typical_vial_is_the_mean_of_the_logs_with_students_t():
    hours = [5.2, 6.9, 6.1]
    found = storages_found(stored(dry=hours)).storages[0]
    logs = np.log(hours)
    expected = stats.t.interval(0.95, 2, loc=logs.mean(), scale=stats.sem(logs))
    assert found.half_time_s / HOUR == pytest.approx(stats.gmean(hours))
    assert np.array(found.half_time_interval_s) / HOUR == pytest.approx(np.exp(expected), rel=1e-6)
    assert found.scatter == pytest.approx(logs.std(ddof=1), rel=1e-6)
    assert found.vials == ("dry 1", "dry 2", "dry 3")


def test_vials_that_agree_within_their_own_errors_are_averaged_by_these():
    # By hand: weights 25 and 100.
    mean, variance, between = typical(np.array([1.0, 1.02]), np.array([0.04, 0.01]))
    assert (mean, variance) == (pytest.approx(1.016), pytest.approx(1 / 125))
    assert between == 0.0


def test_the_ratio_of_two_storages_is_welchs():
    dry, wet = [50.0, 62.0, 71.0], [5.0, 6.5, 5.6, 6.1]
    found = storages_found(stored(dry=dry, wet=wet))
    test = stats.ttest_ind(np.log(dry), np.log(wet), equal_var=False)
    limits = np.exp(test.confidence_interval(0.95))
    pair = found.comparisons[0]
    assert pair.half_time_ratio == pytest.approx(stats.gmean(dry) / stats.gmean(wet))
    assert pair.interval == pytest.approx(tuple(limits), rel=1e-5)
    assert pair.verdict == "different"
    assert [(s.name, s.rank) for s in found.storages] == [("dry", 1), ("wet", 2)]


def test_storages_not_told_apart_share_a_rank_and_the_ratio_says_so():
    found = storages_found(stored(dry=[5.0, 9.0], wet=[6.0, 7.0]))
    assert found.comparisons[0].verdict == "cannot tell"
    assert [s.rank for s in found.storages] == [1, 1]
    alike = storages_found(stored(dry=[6.0, 6.3, 6.2], wet=[6.1, 6.2, 6.3]))
    assert alike.comparisons[0].verdict == "no difference seen"


def test_one_vial_is_no_evidence_however_far_its_half_time_and_its_own_error_say():
    found = storages_found(stored(dry=[500.0], wet=[5.0, 5.2, 5.1]))
    pair = found.comparisons[0]
    assert (pair.verdict, pair.interval) == ("one vial: not evidence about the storage", (None, None))
    alone = found.storages[-1]
    assert (alone.name, alone.rank, alone.half_time_interval_s, alone.scatter) == ("dry", None, None, None)


def test_without_any_second_vial_storages_are_not_spoken_of():
    assert storages_found([vial("S1", 5.0), vial("S2", 50.0), vial("S3")]).storages == ()


def test_a_storage_whose_vials_tell_nothing_is_left_out_and_a_vial_that_tells_nothing_is_named():
    found = storages_found([vial("wax 1"), vial("wax 2"), vial("dry 3"), *stored(dry=[5.0, 6.0])])
    assert [(s.name, s.vials, s.left_out) for s in found.storages] == [
        ("dry", ("dry 1", "dry 2"), ("dry 3",))
    ]


def test_intervals_hold_the_typical_vial_of_few_that_scatter_and_ratios_say_different_rarely_by_chance():
    # Normal theory is exact for equal own errors; three vials, scatter 15 %, own errors 5 %.
    rng = np.random.default_rng(5)
    held, different = 0, 0
    for _ in range(300):
        logs = np.log(10.0) + 0.15 * rng.standard_normal((2, 3)) + 0.05 * rng.standard_normal((2, 3))
        vials = [
            vial(f"{n} {i}", np.exp(v), 0.098)
            for n, row in zip("ab", logs, strict=True)
            for i, v in enumerate(row)
        ]
        found = storages_found(vials)
        low, high = found.storages[0].half_time_interval_s
        held += low <= 10.0 * HOUR <= high
        different += found.comparisons[0].verdict == "different"
    assert 0.92 <= held / 300 <= 1.0
    assert different / 300 <= 0.07


def test_a_storage_none_of_whose_vials_changed_lasts_longer_by_a_ratio_with_an_open_end():
    wet = [5.0, 6.5, 5.6]
    sealed = [vial(f"sealed {i}", longer_than=400.0) for i in range(3)]
    found = storages_found([*sealed, *stored(wet=wet)])
    best = found.storages[0]
    assert (best.name, best.rank, best.half_time_s) == ("sealed", 1, None)
    # The scatter is that of the other storage: limit = 400 h exp(-t s / sqrt 3), by scipy's t.
    spread = np.std(np.log(wet), ddof=1) / np.sqrt(3)
    low, high = best.half_time_interval_s
    assert low / HOUR == pytest.approx(400.0 * np.exp(-stats.t.ppf(0.975, 2) * spread))
    assert high is None
    pair = found.comparisons[0]
    assert (pair.half_time_ratio, pair.interval[1], pair.verdict) == (None, None, "different")
    # Welch with two equal variances and 2 + 2 degrees of freedom.
    limit = 400.0 / stats.gmean(wet) * np.exp(-stats.t.ppf(0.975, 4) * np.sqrt(2) * spread)
    assert pair.interval[0] == pytest.approx(limit, rel=1e-5)


def test_where_no_storage_shows_how_vials_scatter_open_ends_give_no_ratio():
    sealed = [vial(f"{name} {i}", longer_than=400.0) for name in ("cap", "wax") for i in range(3)]
    found = storages_found(sealed)
    assert {s.half_time_interval_s for s in found.storages} == {None}
    assert found.comparisons[0].verdict == "cannot tell"


# N2O5, Daniels & Johnston 1921 as tabulated in textbooks (from memory), k / s: Ea 103 kJ/mol.
CELSIUS = np.array([273.0, 298.0, 308.0, 318.0, 328.0, 338.0]) - 273.15
RATES = np.array([7.87e-7, 3.46e-5, 1.35e-4, 4.98e-4, 1.50e-3, 4.87e-3])


def test_the_published_activation_energy_comes_out_with_the_error_of_a_straight_line():
    found = fit_arrhenius(CELSIUS, np.log(RATES))
    line = stats.linregress(1.0 / (CELSIUS + 273.15), np.log(RATES))
    assert found.activation_energy() / 1000.0 == pytest.approx(103.0, abs=1.0)
    assert found.activation_energy() == pytest.approx(-8.314462618 * line.slope)
    half = stats.t.ppf(0.975, 4) * line.stderr * 8.314462618
    assert found.activation_energy_half_width() == pytest.approx(half)


def test_a_rate_left_out_of_the_table_lies_in_its_prediction_interval_by_the_textbook_formula():
    kept = np.array([0, 1, 2, 3, 5])
    log_rate, half = fit_arrhenius(CELSIUS[kept], np.log(RATES[kept])).log_rate(CELSIUS[4])
    x = 1.0 / (CELSIUS[kept] + 273.15)
    line = stats.linregress(x, np.log(RATES[kept]))
    s2 = np.sum((np.log(RATES[kept]) - line.intercept - line.slope * x) ** 2) / 3
    at = 1.0 / (CELSIUS[4] + 273.15) - x.mean()
    expected = stats.t.ppf(0.975, 3) * np.sqrt(s2 * (1 + 1 / 5 + at**2 / np.sum((x - x.mean()) ** 2)))
    assert half == pytest.approx(expected)
    assert abs(log_rate - np.log(RATES[4])) < half


def test_named_temperatures_give_the_activation_energy_and_half_times_with_a_caution_beyond_them():
    vials = [
        vial(f"N2O5 {c:.2f} C-{i}", np.log(2.0) / k / HOUR * np.exp(0.05 * (i - 1)))
        for c, k in zip(CELSIUS[1:4], RATES[1:4], strict=True)
        for i in range(3)
    ]
    found = storages_found([*vials, *stored(open=[5.0, 6.0])], at=(float(CELSIUS[2]), float(CELSIUS[5])))
    (fit,) = found.arrhenius
    assert (fit.name, len(fit.storages)) == ("N2O5", 3)
    low, high = fit.activation_energy_interval_kj_mol
    assert low < 103.0 < high
    within, beyond = fit.at
    assert (within.beyond, beyond.beyond) == (False, True)
    assert within.half_time_s == pytest.approx(np.log(2.0) / RATES[2], rel=0.1)
    low, high = beyond.half_time_interval_s
    assert low < np.log(2.0) / RATES[5] < high


def test_two_temperatures_need_several_vials_each_and_their_line_has_the_error_of_the_vials():
    cold, warm = [82.0, 90.0, 76.0], [6.0, 6.6, 5.7]
    single = [vial("dry 5 C-1", 82.0), vial("dry 25 C-1", 6.0)]
    assert storages_found(single).arrhenius == ()
    named = [vial(f"dry {c} C-{i}", h) for c, hours in ((5, cold), (25, warm)) for i, h in enumerate(hours)]
    (fit,) = storages_found(named).arrhenius
    step = 1 / 278.15 - 1 / 298.15
    difference = np.log(stats.gmean(cold)) - np.log(stats.gmean(warm))
    assert fit.activation_energy_kj_mol == pytest.approx(8.314462618e-3 * difference / step)
    low, high = fit.activation_energy_interval_kj_mol
    welch = stats.ttest_ind(np.log(cold), np.log(warm), equal_var=False).confidence_interval(0.95)
    assert (low, high) == pytest.approx(np.array(welch) * 8.314462618e-3 / step, rel=1e-5)


def test_ratios_and_storages_of_unlike_states_are_flagged_and_tables_say_so():
    states = {"A-1": "dried", "A-2": "dried", "B-1": "dried", "B-2": "ground", "C-1": "", "C-2": "dried"}
    hours = {"A-1": 1.0, "A-2": 1.1, "B-1": 2.0, "B-2": 2.2, "C-1": 4.0, "C-2": 4.4}
    courses = [replace(vial(n, h), vial=replace(vial_of(n), states=(states[n],) if states[n] else ()))
               for n, h in hours.items()]  # fmt: skip
    found = storages_found(courses)
    assert {s.name: s.flags for s in found.storages} == {"A": (), "B": ("across-states",), "C": ()}
    flagged = {(c.a, c.b) for c in found.comparisons if c.flags == ("across-states",)}
    assert flagged == {("A", "B"), ("B", "C")}
    single = {(c.a, c.b) for c in compare_half_times(courses) if c.flags}
    assert single == {(n, "B-2") for n in ("A-1", "A-2", "B-1")} | {("B-2", "C-2")}
    course = TimeCourse(tuple(courses), (), storages=found.storages, storage_comparisons=found.comparisons)
    for table, flagged_rows in ((storages_table(course), 1), (ratios_table(course), 2)):
        assert table.heads[-1] == "Flags"
        assert sum(row[-1] == "across states" for row in table.rows) == flagged_rows
    assert [row.where for row in flag_rows((), course)] == ["B, A against B, B against C"]
    plain = TimeCourse((), (), storages=storages_found(stored(A=(1.0, 1.1))).storages)
    assert "Flags" not in storages_table(plain).heads


def test_storages_come_back_the_same_from_json():
    named = [vial(f"dry {c} C-{i}", 6.0 + i + c) for c in (5, 25) for i in range(3)]
    found = storages_found(named, at=(60.0,))
    course = TimeCourse((), (), None, None, (), found.storages, found.comparisons, found.arrhenius)
    assert course.arrhenius
    assert course_from_json(to_json(course)) == course


# Yields of dyestuff, five samples of each of six batches (Davies & Goldsmith, Statistical Methods in Research
# and Production, 4th ed. 1972, table 6.5, the textbook example of variance components; from memory).
DYESTUFF = """1545 1440 1440 1520 1580  1540 1555 1490 1560 1495  1595 1550 1605 1510 1560
              1445 1440 1595 1465 1545  1595 1630 1515 1635 1625  1520 1455 1450 1480 1445"""


def test_variances_within_and_between_batches_are_those_of_the_textbook_example():
    y = np.array(DYESTUFF.split(), dtype=float)
    batches = np.repeat(list("ABCDEF"), 5).tolist()
    mean, variance, within, between, dof = typical_by_batch(y, np.zeros(30), batches)
    # Published: mean 1527.5, standard deviations 42.00 between batches and 49.51 within.
    assert mean == pytest.approx(1527.5)
    assert (np.sqrt(between), np.sqrt(within)) == (
        pytest.approx(42.00, abs=0.01),
        pytest.approx(49.51, abs=0.01),
    )
    # Of balanced batches the error of the mean is that of the batch means alone.
    assert (variance, dof) == (pytest.approx(stats.sem(y.reshape(6, 5).mean(axis=1)) ** 2), 5)


def of_batches(hours, batches):
    return [
        replace(vial(f"dry {i}", h), vial=Vial(f"dry {i}", "dry", str(i), b))
        for i, (h, b) in enumerate(zip(hours, batches, strict=True))
    ]


def test_batches_that_differ_are_the_replicates_and_those_that_do_not_are_gathered():
    hours = [5.0, 5.1, 5.2, 8.0, 8.1, 8.3, 6.5, 6.4, 6.6]
    apart = storages_found(of_batches(hours, "AAABBBCCC")).storages[0]
    means = np.log(hours).reshape(3, 3).mean(axis=1)
    limits = stats.t.interval(0.95, 2, loc=means.mean(), scale=stats.sem(means))
    assert np.array(apart.half_time_interval_s) / HOUR == pytest.approx(np.exp(limits), rel=1e-6)
    assert apart.batches == ("A", "B", "C")
    assert apart.batch_scatter > 5 * apart.scatter
    mixed = storages_found(of_batches(hours, "ABCABCABC")).storages[0]
    alone = storages_found(stored(dry=hours)).storages[0]
    assert mixed.batch_scatter is None
    assert mixed.half_time_interval_s == alone.half_time_interval_s


@pytest.mark.parametrize("shift", [0.2, 0.7])
def test_whether_batches_are_told_apart_is_scipys_f_test_at_a_quarter(shift):
    told = []
    for seed in range(40):
        y = np.random.default_rng(seed).standard_normal(6) + shift * np.array([0, 0, 0, 1, 1, 1])
        p = stats.f_oneway(y[:3], y[3:]).pvalue
        told.append((typical_by_batch(y, np.zeros(6), list("AAABBB")) is not None, p < 0.25))
    assert all(found == expected for found, expected in told)
    assert {found for found, _ in told} == {True, False}


def test_batches_that_differ_as_much_as_vials_do_are_nearly_held_and_worse_without():
    """Three batches of two vials, both scatters alike, Gaussian; true mean 0."""
    rng = np.random.default_rng(3)
    held, plain, widths = [], [], []
    for _ in range(300):
        y = (rng.standard_normal((3, 2)) + rng.standard_normal((3, 1))).ravel()
        mean, variance, _ = typical(y, np.zeros(6))
        half = stats.t.ppf(0.975, 5) * variance**0.5
        plain.append(abs(mean) <= half)
        if found := typical_by_batch(y, np.zeros(6), list("AABBCC")):
            mean, half = found[0], stats.t.ppf(0.975, found[4]) * found[1] ** 0.5
        held.append(abs(mean) <= half)
        widths.append(2 * half)
    told = f"held {np.mean(held):.3f}, median width {np.median(widths):.2f} vials' scatters"
    assert 0.90 <= np.mean(held) <= 0.98, told
    assert np.median(widths) < 4.5, told
    assert np.mean(plain) < np.mean(held)


def in_storages(a, b, batches):
    """Vials of two storages, dry and wet, by the batch of each."""
    return [
        replace(vial(f"{name} {i}", h), vial=Vial(f"{name} {i}", name, str(i), batch))
        for name, hours in (("dry", a), ("wet", b))
        for i, (h, batch) in enumerate(zip(hours, batches, strict=True))
    ]


def test_storages_of_the_same_batches_are_compared_as_scipy_compares_pairs():
    """One vial of each batch in each: the paired t test."""
    a, b = np.array([5.0, 9.0, 14.0, 30.0]), np.array([4.1, 7.6, 11.2, 26.0])
    (ratio,) = storages_found(in_storages(a, b, "ABCD")).comparisons
    paired = stats.ttest_rel(np.log(a), np.log(b))
    assert ratio.interval == pytest.approx(tuple(np.exp(paired.confidence_interval(0.95))), rel=1e-6)
    assert ratio.half_time_ratio == pytest.approx(np.exp(np.log(a / b).mean()))
    assert ratio.verdict == "different"
    (unknown,) = storages_found(in_storages(a, b, ["A", "B", "C", ""])).comparisons
    welch = stats.ttest_ind(np.log(a), np.log(b), equal_var=False)
    assert unknown.interval == pytest.approx(tuple(np.exp(welch.confidence_interval(0.95))), rel=1e-6)
    assert unknown.verdict == "cannot tell"


def test_blocks_without_an_interaction_are_those_of_least_squares():
    """The additive model, storage and batch, by numpy's least squares and its textbook standard error; with a
    strong interaction the paired t test of batch means.
    """
    rng, batches, tried = np.random.default_rng(5), np.array(list("AAABBBCCC")), set()
    for _ in range(30):
        block = 2.0 * np.repeat(rng.standard_normal(3), 3)
        turned = rng.choice((0.0, 1.5)) * np.repeat(rng.standard_normal(3), 3)
        a, b = (block + x + rng.standard_normal(9) for x in (turned, 0.0))
        mean, variance, dof = within_batches((a, np.zeros(9), batches), (b, np.zeros(9), batches))
        X = np.column_stack([np.repeat([1.0, 0.0], 9), *(np.tile(batches == n, 2) for n in "ABC")])
        y = np.concatenate([a, b])
        fit, rss, *_ = np.linalg.lstsq(X, y, rcond=None)
        means = (a.reshape(3, 3) - b.reshape(3, 3)).mean(axis=1)
        cells = y.reshape(6, 3)
        within = ((cells - cells.mean(axis=1, keepdims=True)) ** 2).sum() / 12
        if 1.5 * means.var(ddof=1) <= within:
            error = rss[0] / 14 * np.linalg.inv(X.T @ X)[0, 0]
            assert (mean, variance, dof) == (pytest.approx(fit[0]), pytest.approx(error), 14)
        else:
            assert (mean, dof) == (pytest.approx(means.mean()), 2)
            assert variance == pytest.approx(stats.sem(means) ** 2, rel=1e-6)
        tried.add(dof)
    assert tried == {2, 14}


def test_what_batches_differ_in_does_not_widen_the_ratio_of_storages():
    """Simulated: batches scatter twice as much as vials, alike in both storages; true ratio 1. Width in units
    of the vials' scatter; by Welch's interval of the two means it was 4.3 half wide and held in 99.9 %.
    """
    rng, batches, held, widths = np.random.default_rng(6), list("AABBCC"), [], []
    for _ in range(400):
        block = 2.0 * np.repeat(rng.standard_normal(3), 2)
        a, b = ((block + rng.standard_normal(6), np.zeros(6), batches) for _ in range(2))
        mean, variance, dof = within_batches(a, b)
        half = stats.t.ppf(0.975, dof) * variance**0.5
        held.append(abs(mean) <= half)
        widths.append(half)
    told = f"held {np.mean(held):.3f}, median half-width {np.median(widths):.2f}"
    assert 0.93 <= np.mean(held) <= 0.99, told
    assert np.median(widths) < 1.9, told


def test_a_storage_tried_with_one_batch_says_so():
    from glowkin.telling.storage_table import batch_words

    hours = [5.0, 6.0, 7.0]
    for batches, words in (("AAA", "One batch only"), ("", "")):
        vials = of_batches(hours, batches or ["", "", ""])
        found = storages_found(vials)
        told = batch_words(TimeCourse((), (), storages=found.storages))
        assert " ".join(told).startswith(words)
        assert bool(told) == bool(words)
