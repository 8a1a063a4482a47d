"""Figures at the size they are printed in: pixels, dots an inch, millimetres; Pillow and the SVG tell."""

from __future__ import annotations

import re

import pytest
from PIL import Image

from glowkin.telling import drawing
from glowkin.telling.print_size import COLUMN_MM, DPI, TALLEST_MM, drawn_for, save_for_print


def figure(height_in):
    with drawing.style():
        fig = drawing.blank(height_in)
        ax = fig.subplots()
        ax.plot([0, 1], [0, 1])
        ax.set_xlabel("time (h)")
    return fig


@pytest.mark.parametrize("column", COLUMN_MM)
@pytest.mark.parametrize("height_in", [2.0, 5.0, 10.0])
def test_width_height_and_dots_are_as_said(tmp_path, column, height_in):
    with drawn_for(column):
        wide, high = save_for_print(figure(height_in), tmp_path / "f", column)
    assert wide <= COLUMN_MM[column] + 1e-9
    assert high <= TALLEST_MM + 1e-9
    assert max(wide / COLUMN_MM[column], high / TALLEST_MM) == pytest.approx(1.0)
    assert drawing.blank(height_in).get_size_inches() == pytest.approx((drawing.WIDTH_IN, height_in))
    assert high / wide == pytest.approx(height_in / drawing.WIDTH_IN)
    with Image.open(tmp_path / "f.png") as png:
        assert png.info["dpi"] == pytest.approx((DPI, DPI), abs=0.01)
        assert [n / DPI * 25.4 for n in png.size] == pytest.approx([wide, high], abs=0.2)
    svg = (tmp_path / "f.svg").read_text("utf-8")
    told = re.search(r'<svg[^>]*width="([\d.]+)mm"[^>]*height="([\d.]+)mm"[^>]*viewBox="0 0 ([\d.]+) ', svg)
    assert [float(v) for v in told.groups()[:2]] == pytest.approx([wide, high], abs=0.01)
    points = 10.0 * float(told[1]) / 25.4 * 72 / float(told[3])
    assert points == pytest.approx(7.0, abs=0.05), "10 units of text come out at 7 pt"


def test_the_same_figure_gives_the_same_bytes(tmp_path):
    for name in "ab":
        (tmp_path / name).mkdir()
        save_for_print(figure(3.0), tmp_path / name / "f", "single")
    for end in ("svg", "png"):
        assert (tmp_path / "a" / f"f.{end}").read_bytes() == (tmp_path / "b" / f"f.{end}").read_bytes()
