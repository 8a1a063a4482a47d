"""The diagrams against CIE tables, and ellipses that hold what they say."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from matplotlib.path import Path as Outline

from glowkin.base.records import Sample
from glowkin.colour.chromaticity import uv_prime_to_xy
from glowkin.telling.crowds import crowds, joined, named
from glowkin.telling.diagram import MARKS_NM, chromaticity_diagram, locus_marks
from glowkin.telling.drawing import png, svg
from glowkin.telling.labels import best_box, overlap
from glowkin.telling.spots import paths_of, spots_of

# CIE 15, spectrum locus of the 1931 observer, xy.
CIE_LOCUS = {480: (0.0913, 0.1327), 500: (0.0082, 0.5384), 520: (0.0743, 0.8338), 550: (0.3016, 0.6923),
             580: (0.5125, 0.4866), 600: (0.6270, 0.3725), 620: (0.6915, 0.3083)}  # fmt: skip


@pytest.mark.parametrize("nm", sorted(CIE_LOCUS))
def test_wavelengths_stand_where_the_cie_table_puts_them_in_1931(nm):
    mark = next(m for m in locus_marks("1931") if m.wavelength_nm == nm)
    assert mark.point == pytest.approx(CIE_LOCUS[nm], abs=1e-4)


@pytest.mark.parametrize("nm", sorted(set(CIE_LOCUS) & set(MARKS_NM["1976"])))
def test_wavelengths_stand_where_the_cie_table_puts_them_in_1976(nm):
    x, y = CIE_LOCUS[nm]
    mark = next(m for m in locus_marks("1976") if m.wavelength_nm == nm)
    # CIE 15: u' = 4x / (-2x + 12y + 3), v' = 9y / (-2x + 12y + 3)
    assert mark.point == pytest.approx(
        (4 * x / (-2 * x + 12 * y + 3), 9 * y / (-2 * x + 12 * y + 3)), abs=2e-4
    )


@pytest.mark.parametrize("kind", ["1976", "1931"])
def test_numbers_lie_outside_the_locus(kind):
    marks = locus_marks(kind)
    inside = Outline([m.point for m in marks])
    assert not inside.contains_points([m.point + 0.02 * m.outward for m in marks]).any()


@pytest.mark.parametrize("kind", ["1976", "1931"])
def test_the_drawn_ellipse_holds_95_percent_of_draws(photos, kind):
    """By draws from the covariance, carried to the diagram one by one, in matplotlib's own containment."""
    sample = photos[0].sample("green form")
    fig = chromaticity_diagram(photos, kind)
    drawn = next(k for k in fig.axes[0].patches if k.get_label() == "95 % of green form")
    rng = np.random.default_rng(7)
    mean = (sample.u_prime, sample.v_prime)
    draws = rng.multivariate_normal(mean, sample.u_prime_v_prime_covariance, 20000)
    points = draws if kind == "1976" else uv_prime_to_xy(draws)
    share = Outline(drawn.get_xy()).contains_points(points).mean()
    assert share == pytest.approx(0.95, abs=0.006)


def test_the_white_point_is_drawn_where_cie_15_has_it(photos):
    # CIE 15: E is u' 0.2105, v' 0.4737.
    ax = chromaticity_diagram(photos, "1976").axes[0]
    white = next(k for k in ax.lines if k.get_marker() == "+" and k.get_markersize() == 9)
    assert white.get_xydata()[0] == pytest.approx((0.2105, 0.4737), abs=1e-4)


def words_of(fig):
    return [t.get_text() for ax in fig.axes for t in ax.texts]


def test_every_sample_with_a_colour_is_named(photos):
    words = words_of(chromaticity_diagram(photos))
    assert {s.name for s in photos[0].samples if s.u_prime is not None} <= set(words)
    assert "over & <burnt>" not in words


def test_crowded_samples_are_enlarged_and_named_there(photos):
    fig = chromaticity_diagram(photos)
    enlarged = [t.get_text() for t in fig.axes[1].texts]
    assert len(fig.axes) == 2
    assert {"red batch 1", "red batch 2"} <= set(enlarged)


def test_vials_that_lie_together_share_one_label(series):
    spots = spots_of(series[:1])
    assert len(spots) == 15
    assert {n.text for n in named(spots)} == {
        f"{c}, 3 vials" for c in ("MgCl2 25 C", "MgCl2 5 C", "leaky cap", "tight cap", "NaCl 25 C")
    }
    assert [len(g) for g in crowds(named(spots))] == [5]
    assert [n.text.replace("\n", " ") for n in joined(named(spots))] == [
        "MgCl2 25 C, MgCl2 5 C, leaky cap, tight cap, NaCl 25 C, 15 vials"
    ]


def test_a_path_points_on_in_time(course):
    fig = chromaticity_diagram([], "1976", course)
    heads = [t for t in fig.axes[0].texts if t.get_text() == "" and t.arrow_patch is not None]
    assert len(heads) == 3  # the two conditions without a change have no direction
    for head in heads:
        assert head.xy[0] < head.xyann[0]  # from red (u' 0.43) to green (u' 0.06)


def test_paths_are_sorted_by_time_and_gathered_by_condition(course):
    paths = paths_of(course)
    assert [p.words for p in paths][:2] == ["MgCl2 25 C (3)", "MgCl2 5 C (3)"]
    assert all(len(v) == 13 for p in paths for v in p.vials)


def test_labels_keep_clear_of_each_other():
    taken = []
    for k in range(12):
        taken.append(best_box(100.0 + k, 100.0, "a sample's name", taken, (0, 0, 400, 400)))
    boxes = np.array(taken)
    assert overlap(boxes[:, None], boxes)[~np.eye(12, dtype=bool)].max() == 0


def test_svg_is_repeatable_and_its_ids_do_not_clash(plain):
    one, again = (svg(chromaticity_diagram([plain]), "a") for _ in range(2))
    other = svg(chromaticity_diagram([plain]), "b")
    ids = [{e.get("id") for e in ET.fromstring(t).iter() if e.get("id")} for t in (one, other)]  # noqa: S314 - our own drawing
    assert one == again
    assert not ids[0] & ids[1]
    assert "metadata" not in one


@pytest.mark.parametrize("name", ["$x$ & <b> a_b^{2}", "試料", "", "x" * 200])
def test_any_name_can_be_drawn(photos, name):
    odd = replace(photos[0], samples=(replace(photos[0].samples[2], name=name),))
    assert ET.fromstring(svg(chromaticity_diagram([odd]), "p")) is not None  # noqa: S314 - our own drawing
    assert png(chromaticity_diagram([odd]), 40)[:4] == b"\x89PNG"


def test_a_photograph_without_any_colour_leaves_an_empty_diagram(photos):
    empty = replace(photos[0], samples=(Sample("dark", (1.0, 1.0), 3.0, ()),))
    assert [t for t in words_of(chromaticity_diagram([empty])) if not t.isdigit()] == ["white E"]


def test_text_is_at_least_nine_points(photos, course):
    fig = chromaticity_diagram(photos, "1976", course)
    sizes = [t.get_fontsize() for ax in fig.axes for t in (*ax.texts, *ax.get_xticklabels(), ax.title)]
    assert min(sizes) >= 9


def test_the_ten_degree_observer_has_its_own_locus(plain):
    # CIE 15, 1964 observer, 520 nm (as carried by colour-science).
    ten = next(m for m in locus_marks("1931", 10) if m.wavelength_nm == 520)
    assert ten.point == pytest.approx((0.1252, 0.8102), abs=1e-4)
    ax = chromaticity_diagram([replace(plain, observer=10)]).axes[0]
    assert ax.get_title(loc="left").startswith("CIE 1976, 10° observer")


def test_a_sample_that_stays_in_its_place_is_labelled_once(photos):
    control = replace(photos[0], samples=photos[0].samples[3:4])
    labels = named(spots_of([control, replace(control, path="b.dng")]))
    assert [n.text for n in labels] == ["control (IMG_0412, b)"]
    assert len(labels[0].spots) == 2


def test_wide_ellipses_are_not_enlarged(photos):
    wide = tuple(
        replace(s, u_prime_v_prime_covariance=((9e-4, 0.0), (0.0, 9e-4))) for s in photos[0].samples[:2]
    )
    assert len(chromaticity_diagram([replace(photos[0], samples=wide)]).axes) == 1


def test_a_leader_does_not_run_through_words_already_written():
    wall = (20.0, 80.0, 150.0, 95.0)  # just below the point, wide
    below_first = -np.pi / 2
    crowd = [(90.0, 96.0, 110.0, 200.0), wall]  # nothing is free above
    x0, y0, x1, y1 = best_box(100, 100, "far", crowd, (0, 0, 400, 400), below_first, written=[wall])
    line = np.linspace((100, 100), ((x0 + x1) / 2, (y0 + y1) / 2), 50)
    through = (
        (line[:, 0] > wall[0]) & (line[:, 0] < wall[2]) & (line[:, 1] > wall[1]) & (line[:, 1] < wall[3])
    )
    assert not through.any()
