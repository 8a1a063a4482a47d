"""The report needs nothing from elsewhere, tells nothing about where it was made, and says what was found."""

from __future__ import annotations

import base64
import io
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

from glowkin.base.errors import CannotReadError
from glowkin.base.flags import FLAGS
from glowkin.base.records import TimeCourse
from glowkin.base.storages import Arrhenius, AtTemperature, CourseComparison, StorageCourse
from glowkin.base.uncertainty import ellipse_95
from glowkin.telling.previews import jpeg as reencoded
from glowkin.telling.previews import pixels_of
from glowkin.telling.provenance import GRAVITY, flag_rows
from glowkin.telling.report import build_report
from glowkin.telling.storage_table import ONE_VIAL, storages_table
from glowkin.telling.tables import ratios_table
from glowkin.telling.wording import summary, support_words

VOID = {"meta", "img", "br", "link", "input", "hr"}


class Page(HTMLParser):
    """Elements, attributes and text; complains about tags that do not close in order."""

    def __init__(self, html):
        super().__init__()
        self.open, self.elements, self.text = [], [], []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not self.open or self.open[-1] not in ("style", "script"):
            self.text.append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]

    @property
    def words(self):
        return " ".join(" ".join(self.text).split())


SETTINGS = {
    "command": "track /home/someone/glow --camera /home/someone/cam.json",
    "tolerance": 0.0033,
    "lamp_off": None,
    "names": ["a", "b"],
}
ERRORS = [{"path": "/home/someone/glow/bad.jpg", "message": "/home/someone/glow/bad.jpg: it is empty."}]


@pytest.fixture(scope="module")
def html(photos, pairs, course, picture, jpeg_of):
    exif = Image.Exif()
    exif[0x010F] = "A maker"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 31.0, 0.0), 3: "E", 4: (13.0, 24.0, 0.0)})
    exif.get_ifd(0x8769)[0xA431] = "SERIAL-4711"
    tagged = jpeg_of(picture, exif=exif, comment=b"taken by someone")
    assert b"SERIAL-4711" in tagged
    previews = {photos[0].path: tagged}
    return build_report(
        photos, pairs, course, previews, SETTINGS, "glowkin 0.1.0", {"python": "3.11", "numpy": "2.4"}, ERRORS
    )


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


def test_every_address_is_data_or_on_the_page(html, page):
    for _, attrs in page.elements:
        for key in ("src", "href", "xlink:href", "srcset", "action", "poster", "data"):
            assert attrs.get(key, "#").startswith(("data:", "#"))
    assert all(u.startswith(("#", "data:")) for u in re.findall(r"url\(['\"]?([^)]*)", html))
    assert "@import" not in html
    assert not {tag for tag, _ in page.elements} & {
        "script",
        "link",
        "iframe",
        "object",
        "embed",
        "base",
        "form",
    }


def test_the_page_forbids_requests_in_its_own_head(page):
    policies = [m["content"] for m in page.all("meta") if m.get("http-equiv") == "Content-Security-Policy"]
    assert policies == ["default-src 'none'; img-src data:; style-src 'unsafe-inline'"]


def test_no_folder_person_place_or_serial_number_survives(html):
    pictures = [base64.b64decode(b) for b in re.findall(r'data:image/jpeg;base64,([^"]+)', html)]
    assert len(pictures) == 1
    for content in (html.encode(), *pictures):
        for trace in (b"someone", b"/home", b"SERIAL", b"A maker", b"Exif", b"ICC_PROFILE"):
            assert trace not in content
    assert not Image.open(io.BytesIO(pictures[0])).getexif()


def test_ids_are_unique_and_every_reference_is_met(html, page):
    ids = [a["id"] for _, a in page.elements if a.get("id")]
    assert [i for i, n in Counter(ids).items() if n > 1] == []
    refs = re.findall(r'(?:url\(#|href="#|aria-labelledby=")([^")]+)', html)
    assert set(refs) <= set(ids)


def test_names_are_escaped_everywhere(html):
    assert "<burnt>" not in html
    assert "over &amp; &lt;burnt&gt;" in html


def test_the_page_can_be_read_without_seeing_it(page):
    assert page.all("html") == [{"lang": "en"}]
    assert all(a.get("alt") for a in page.all("img"))
    assert all(a.get("role") == "img" and a.get("aria-label") for a in page.all("svg"))
    assert all(a.get("scope") in ("col", "row") for a in page.all("th"))
    assert len(page.all("caption")) == len(page.all("table"))
    levels = [tag for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == "h1"
    assert set(levels[1:]) == {"h2"}


def test_the_summary_says_what_was_found(page):
    for sentence in (
        "7 samples in 1 photograph, camera description: generic. 1 reading gave no colour",
        "red batch 1 and green form: different, Δu′v′ 0.431 (0.421 to 0.442).",
        "red batch 1 and red batch 2: cannot tell, Δu′v′ 0.005 (0.000 to 0.013).",
        "NaCl 25 C (3 vials): no change seen; half-time longer than 41 d in each.",
        "Could not be measured: bad.jpg.",
        "Largest caution. Some pixels are at the top of the scale",
    ):
        assert sentence in page.words


def test_method_settings_hashes_versions_and_cautions_are_there(page, photos):
    for said in (
        "All intervals are 95 %", "block variance", "JCGM 101:2008", "ISO/CIE 11664-5", "Light is not amount",
        "consistent with", photos[0].sha256, "python 3.11, numpy 2.4", "tolerance 0.0033", "glowkin 0.1.0",
        "generic camera error", "E (x 0.3333, y 0.3333)", "eyewear rated for the lamp",
        "not a measured emission maximum",
        "licensed or supervised practice", "track glow --camera cam.json", "bad.jpg: it is empty.",
    ):  # fmt: skip
        assert said in page.words


def test_figures_are_printed_with_their_interval_and_no_more_digits(page):
    for said in (
        "612 (609 to 616)",
        "611 (608 or more)",
        "c 547 (540 to 553)",
        "638 (629 to 648); width 84 (60 to 110)",
    ):
        assert said in page.words
    assert "612.34" not in page.words


def test_every_flag_has_a_rank_and_comes_with_its_mend(photos, page):
    assert set(GRAVITY) == set(FLAGS)
    assert flag_rows(photos, None)[0].flag.name == "clipped"
    for row in flag_rows(photos, None):
        assert row.flag.sentence in page.words
        assert row.flag.mend in page.words


def test_a_report_is_the_same_each_time(plain, pairs):
    assert build_report([plain], pairs) == build_report([plain], pairs)


@pytest.mark.parametrize("missing", ["photos", "pairs", "course", "everything"])
def test_any_part_may_be_missing(plain, pairs, course, missing):
    html = build_report(
        [plain] if missing in ("pairs", "course") else [],
        pairs if missing in ("photos", "course") else [],
        replace(course, samples=course.samples[:1]) if missing in ("photos", "pairs") else None,
    )
    assert "Largest caution" in Page(html).words


def test_an_open_half_time_and_an_unknown_amount_are_said(course):
    open_end = replace(course.samples[0], name="slow", half_time_s=9e5, half_time_interval_s=(8e5, None))
    points = tuple(replace(p, fraction_start=None, low=None, high=None) for p in open_end.points)
    light = replace(open_end, name="light", half_time_s=None, half_time_interval_s=None, luminance_ratio=None,
                    stops_at=None, stops_at_interval=None, light_half_time_s=3000.0, points=points,
                    flags=("light-is-not-amount",))  # fmt: skip
    words = Page(build_report([], [], TimeCourse((open_end, light), ()))).words
    assert "10.4 d (9.3 d or more)" in words
    assert "unknown; light alone reaches its middle after 50 min" in words
    assert FLAGS["light-is-not-amount"].sentence in words


def test_a_long_series_shows_its_first_and_last_photograph(series, course):
    page = Page(build_report(series, [], course))
    assert "The photographs pictured are shown; samples.csv holds all of them." in page.words
    assert "t12.dng" in page.words
    assert len(page.all("svg")) == 7


def test_a_preview_is_turned_upright_and_made_small(jpeg_of, picture):
    exif = Image.Exif()
    exif[0x0112] = 6
    assert pixels_of(jpeg_of(picture, exif=exif)).shape == (800, 600, 3)
    assert pixels_of(picture.repeat(3, axis=0).repeat(3, axis=1)).shape == (900, 1200, 3)
    assert Image.open(io.BytesIO(reencoded(picture))).info.keys() <= {
        "jfif", "jfif_version", "jfif_unit", "jfif_density",
    }  # fmt: skip


def test_a_preview_that_is_no_picture_is_refused():
    with pytest.raises(CannotReadError, match="is no picture"):
        pixels_of(b"nothing of the kind")


def test_storages_are_compared_before_single_vials(course):
    stored = (
        CourseComparison("cold", "warm", 13.6, (7.0, 26.0), "different"),
        CourseComparison("sealed", "warm", None, (21.7, None), "different"),
        CourseComparison("odd", "warm", 2.0, (None, None), ONE_VIAL),
    )
    table = ratios_table(replace(course, storage_comparisons=stored))
    assert [row[:2] for row in table.rows] == [
        ("cold against warm", "14 (7 to 26)"), ("sealed against warm", "above 22"),
        ("odd against warm", "2.0"),
    ]  # fmt: skip
    assert table.rows[2][2] == "one vial: not evidence about the storage"
    assert ratios_table(course).rows[0][0] == "MgCl2 5 C-1 against MgCl2 25 C-1"


def test_a_storage_is_a_row_with_its_typical_vial_how_vials_differ_and_its_rank(course):
    hour = 3600.0
    cold = StorageCourse("MgCl2 5 C", ("a", "b", "c"), 82 * hour, (60 * hour, 112 * hour), 0.081, 2, 5.0)
    dry = StorageCourse("dry", ("a", "b"), None, (300 * hour, None), None, 1, None, ("c",))
    odd = StorageCourse("odd", ("a",), 9 * hour, None, None, None)
    at = AtTemperature(-18.0, 4.1e6, (2.0e6, 8.0e6), beyond=True)
    rate = Arrhenius("MgCl2", ("MgCl2 5 C", "MgCl2 25 C"), (5.0, 25.0), 90.2, (70.0, 110.4), (at,))
    table = storages_table(replace(course, storages=(dry, cold, odd), arrhenius=(rate,)))
    assert table.rows == (
        ("dry", "2 of 3 tell a half-time", "longer than 12 d", "–", "1"),
        ("MgCl2 5 C", "3", "82 h (60 to 112 h)", "8 %", "2"),
        ("odd", "1", "9.0 h", "–", "one vial: not evidence about the storage"),
    )
    assert "MgCl2, activation energy: 90 kJ/mol (70 to 110 kJ/mol), from 5 to 25 °C, two temp" in table.note
    assert "MgCl2 at −18 °C should take 47 d (23 to 93 d), beyond the temperatures watched" in table.note


def test_a_half_time_of_a_change_that_stops_says_what_is_left(course):
    tight = replace(course.samples[0], stops_at=0.9868, stops_at_interval=(0.9860, 0.9876))
    words = Page(build_report([], [], TimeCourse((tight,), ()))).words
    assert "MgCl2 25 C-1: changing; half-time 5.80 h (5.51 to 6.21 h), then 0.9868 left." in words
    full = replace(tight, stops_at=0.01, stops_at_interval=(0.0, 0.03))
    assert (
        "left." not in Page(build_report([], [], TimeCourse((full,), ()))).words.split("Largest caution")[0]
    )


@pytest.mark.parametrize(("basis", "flags", "said"), [
    ("generic", ("rendered-file", "automatic-white-balance"), True),
    ("generic", ("rendered-file",), False),
    ("chart", ("rendered-file", "automatic-white-balance"), False),
])  # fmt: skip
def test_a_file_with_automatic_white_balance_says_how_little_it_supports(photos, basis, flags, said):
    photo = replace(photos[0], flags=flags, camera=replace(photos[0].camera, basis=basis))
    sentences = support_words([photo])
    assert len(sentences) == said
    if said:
        regions = [s.u_prime_v_prime_covariance for s in photo.samples if s.u_prime is not None]
        axes = sorted(ellipse_95(np.array(C))[0] for C in regions)
        (figure,) = re.findall(r"colours to ([\d.]+) in u′v′", sentences[0])
        assert axes[0] * 0.9 <= float(figure) <= axes[-1] * 1.1
        assert sentences[0] in summary([photo], [], None)
        assert support_words([photo, photo])[0].startswith("2 photographs support little")
