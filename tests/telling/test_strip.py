"""The strip of maps and its file. Truths: the colour map's published properties, and what was handed in."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.errors import CannotReadError
from glowkin.base.maps import BEGINNINGS, CANNOT_TELL, FractionMap, MapFound
from glowkin.base.records import TimeCourse
from glowkin.telling.drawing import svg
from glowkin.telling.maps_file import read_maps, write_maps
from glowkin.telling.strip import begins_words, colours, map_pages, map_strip

INSIDE = np.hypot(*(np.mgrid[:30, :30] - 14.5)) < 14


def a_map(time_s=3600.0, by_light=False, low=0.2):
    values = np.where(INSIDE, np.linspace(low, 0.9, 30)[None], np.nan).astype(np.float32)
    values[5:9, 12:18] = np.nan
    return FractionMap("1.dng", time_s, 0.55, by_light, values, INSIDE, 3)


def test_the_colours_are_even_to_the_eye_and_in_grey():
    """Lightness of CIELAB by scikit-image: rises steadily, in steps that hardly differ."""
    from skimage.color import rgb2lab

    lightness = rgb2lab(colours()(np.linspace(0, 1, 64))[None, :, :3])[0, :, 0]
    steps = np.diff(lightness)
    assert steps.min() > 0
    assert steps.max() < 1.6 * steps.min()


def test_every_answer_has_its_words():
    said = {begins_words(MapFound(begins, by_light=False)) for begins in BEGINNINGS}
    assert len(said) == len(BEGINNINGS)
    assert begins_words(None) == begins_words(MapFound(CANNOT_TELL, by_light=False))


def test_a_strip_tells_times_fractions_scale_and_what_is_not_known():
    maps = {"A & B": [a_map(0.0), a_map(), a_map(7200.0)]}
    text = svg(map_strip(maps, TimeCourse((), ())), "x")
    for words in (">0<", ">1 h<", ">2 h<", ">0.55<", ">20 px<", "A &amp; B: cannot tell", "amount left"):
        assert words in text
    assert "<pattern" in text  # hatched
    assert text == svg(map_strip(maps, TimeCourse((), ())), "x")


def test_light_and_amount_are_not_mixed_on_one_sheet():
    maps = {f"S{i}": [a_map(by_light=i % 2 == 0)] for i in range(12)}
    pages = list(map_pages(maps))
    assert [len(page) for page in pages] == [5, 1, 5, 1]
    assert all(len({m.by_light for row in page.values() for m in row}) == 1 for page in pages)
    assert "share of light" in svg(map_strip(pages[2], TimeCourse((), ())), "x")


def test_nothing_known_draws_all_the_same():
    empty = FractionMap("1.dng", 0.0, 0.5, False, np.full((30, 30), np.nan, np.float32), INSIDE, 3)
    assert "<pattern" in svg(map_strip({"S1": [empty]}, TimeCourse((), ())), "x")


def test_maps_come_back_from_their_file(tmp_path):
    maps = {"A": (a_map(), a_map(7200.0)), "ß": (a_map(by_light=True),)}
    write_maps(tmp_path, maps)
    again = read_maps(tmp_path)
    assert {name: len(row) for name, row in again.items()} == {"A": 2, "ß": 1}
    for name, row in maps.items():
        for before, after in zip(row, again[name], strict=True):
            np.testing.assert_array_equal(before.values, after.values)
            np.testing.assert_array_equal(before.inside, after.inside)
            plain = ("path", "time_s", "fraction", "by_light", "pixel_px")
            assert [getattr(before, key) for key in plain] == [getattr(after, key) for key in plain]
    write_maps(tmp_path, {})
    assert read_maps(tmp_path) == {}


def test_a_broken_file_of_maps_is_named(tmp_path):
    (tmp_path / "maps.npz").write_bytes(b"no zip")
    with pytest.raises(CannotReadError, match=r"maps\.npz: is not as glowkin wrote it"):
        read_maps(tmp_path)
