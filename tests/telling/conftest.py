"""An invented set of records: the colours are those of Gaussian bands, everything else is made up."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest

from glowkin.base.records import (
    CameraUsed,
    Comparison,
    CourseComparison,
    MeasuredPhoto,
    ModelFit,
    Place,
    Ratio,
    Sample,
    SampleCourse,
    TimeCourse,
    TrackPoint,
)
from glowkin.colour.chromaticity import XYZ_to_uv_prime, uv_prime_to_xy
from glowkin.colour.observer import spectrum_to_XYZ

HOUR, DAY = 3600.0, 86400.0
COVARIANCE = ((3.1e-5, -1.2e-5), (-1.2e-5, 1.4e-5))
NM = np.arange(380.0, 781.0)


def band_XYZ(peak_nm, fwhm_nm):
    return spectrum_to_XYZ(NM, np.exp(-4 * math.log(2) * ((NM - peak_nm) / fwhm_nm) ** 2))


RED, GREEN = band_XYZ(640, 85), band_XYZ(520, 52)


def mixture_uv(light_of_start):
    """u'v' of red and green light mixed, each of luminance 1."""
    return XYZ_to_uv_prime(light_of_start * RED / RED[1] + (1 - light_of_start) * GREEN / GREEN[1])


def outline(x, y, r):
    t = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    return tuple((float(x + r * math.cos(a)), float(y + r * math.sin(a))) for a in t)


def make_sample(name, uv, at, scale=1.0, **more):
    u, v = map(float, uv)
    x, y = map(float, uv_prime_to_xy(np.array([u, v])))
    covariance = tuple(tuple(scale * c for c in row) for row in COVARIANCE)
    given = {
        "u_prime": u,
        "v_prime": v,
        "x": x,
        "y": y,
        "u_prime_v_prime_covariance": covariance,
        "luminance_relative": 1.0,
        "unevenness_u_prime_v_prime": 0.0021,
    }
    return Sample(name, at, 5200.0, outline(*at, 150.0), **{**given, **more})


def make_photo(path, samples, **more):
    given = {
        "sha256": f"{abs(hash(path)) % 16**12:012x}".ljust(64, "a"),
        "taken_at": "2026-05-04T13:30:00+02:00",
        "exposure_s": 0.5,
        "iso": 100.0,
        "f_number": 4.0,
        "kind": "raw",
        "size_px": (4000, 3000),
        "camera": CameraUsed("generic", "generic"),
        "white_point": "E",
        "white_point_xy": (1 / 3, 1 / 3),
        "observer": 2,
        "flags": (),
    }
    return MeasuredPhoto(path=path, samples=tuple(samples), **{**given, **more})


@pytest.fixture(scope="session")
def photos():
    uv_of = {n: XYZ_to_uv_prime(band_XYZ(*b)) for n, b in {
        "red batch 1": (640, 85), "red batch 2": (637, 85), "green form": (520, 52), "control": (460, 60),
        "terbium": (545, 12),
    }.items()}  # fmt: skip
    samples = [
        make_sample(
            "red batch 1",
            uv_of["red batch 1"],
            (700, 900),
            dominant_wavelength_nm=612.34,
            dominant_wavelength_interval_nm=(608.9, 616.2),
            excitation_purity=0.981,
            excitation_purity_interval=(0.94, 1.0),
            band_centre_nm=638.2,
            band_centre_interval_nm=(629.0, 648.0),
            band_width_nm=84.0,
            band_width_interval_nm=(60.0, 110.0),
        ),
        make_sample(
            "red batch 2",
            uv_of["red batch 2"],
            (1900, 900),
            dominant_wavelength_nm=611.1,
            dominant_wavelength_interval_nm=(607.8, None),
            flags=("uneven-sample",),
        ),
        make_sample(
            "green form",
            uv_of["green form"],
            (3100, 900),
            0.7,
            dominant_wavelength_nm=533.0,
            dominant_wavelength_interval_nm=(528.0, 537.5),
            excitation_purity=0.81,
            excitation_purity_interval=(0.74, 0.88),
            flags=("lit-by-neighbour",),
        ),
        make_sample(
            "control",
            uv_of["control"],
            (700, 2200),
            1.5,
            dominant_wavelength_nm=463.1,
            dominant_wavelength_interval_nm=(460.0, 466.4),
        ),
        make_sample(
            "terbium",
            uv_of["terbium"],
            (1900, 2200),
            flags=("not-a-single-band",),
            dominant_wavelength_nm=549.0,
            dominant_wavelength_interval_nm=(545.9, 552.0),
        ),
        make_sample(
            "purple mix",
            (0.37, 0.33),
            (2500, 2200),
            2.0,
            complementary_wavelength_nm=547.2,
            complementary_wavelength_interval_nm=(540.0, 553.0),
            excitation_purity=0.5,
            excitation_purity_interval=(0.42, 0.58),
        ),
        Sample(
            "over & <burnt>",
            (3300.0, 2200.0),
            800.0,
            outline(3300, 2200, 120),
            clipped_fraction=1.0,
            flags=("clipped",),
        ),
    ]
    return [make_photo("/home/someone/glow/IMG_0412.dng", samples, flags=("room-light",))]


@pytest.fixture(scope="session")
def plain(photos):
    """A photograph with one sample, quick to draw."""
    return replace(photos[0], samples=photos[0].samples[2:3])


@pytest.fixture(scope="session")
def pairs():
    path = "/home/someone/glow/IMG_0412.dng"
    return [
        Comparison(
            Place(path, "red batch 1"),
            Place(path, "green form"),
            0.4312,
            (0.4211, 0.4418),
            392.0,
            79.3,
            (74.0, 85.1),
            None,
            None,
            0.0033,
            0.0,
            "different",
        ),
        Comparison(
            Place(path, "red batch 1"),
            Place(path, "red batch 2"),
            0.0052,
            (0.0, 0.0131),
            4.7,
            1.2,
            (-3.1, 5.4),
            3.21,
            "E",
            0.0033,
            0.31,
            "cannot tell",
        ),
    ]


CONDITIONS = {
    # name: (half-time s, Avrami exponent, end fraction, light only)
    "MgCl2 25 C": (6 * HOUR, 2.0, 0.0),
    "MgCl2 5 C": (82 * HOUR, 2.0, 0.0),
    "leaky cap": (9 * DAY, 1.3, 0.1),
    "tight cap": (None, None, 1.0),
    "NaCl 25 C": (None, None, 1.0),
}
TIMES = np.array([0, 1, 2, 4, 6, 9, 14, 24, 48, 96, 168, 240, 336.0]) * HOUR


def fraction(half, n, end, t):
    if half is None:
        return np.ones_like(t)
    return end + (1 - end) * np.exp(-math.log(2) * (t / half) ** n)


def make_course_sample(condition, vial, rng):
    half, n, end = CONDITIONS[condition]
    half = half and half * rng.normal(1, 0.05)
    alpha = fraction(half, n, end, TIMES)
    seen = np.clip(alpha + rng.normal(0, 0.012, TIMES.size), 0, 1.02)
    light = alpha / (alpha + 10 * (1 - alpha))
    points = tuple(
        TrackPoint(float(t), f"/home/someone/glow/t{i:02d}.dng", float(a), float(a - 0.03), float(a + 0.03),
                   float(s), *map(float, mixture_uv(s) + rng.normal(0, 0.001, 2)), 1.0)
        for i, (t, a, s) in enumerate(zip(TIMES, seen, light, strict=True))
    )  # fmt: skip
    name = f"{condition}-{vial}"
    if half is None:
        return SampleCourse(
            name, "no change seen", None, None, None, None, (), None, None, None, 41.3 * DAY, (), points
        )
    fit = avrami_fit(half, n, end)
    return SampleCourse(
        name,
        "changing",
        True,
        Ratio(10.2, 9.1, 11.6),
        end,
        "avrami-erofeev",
        ("avrami-erofeev", "prout-tompkins"),
        half,
        (half * 0.95, half * 1.07),
        half * 0.14,
        None,
        (fit,),
        points,
        stops_at_interval=(max(0, end - 0.02), end + 0.021),
    )


def avrami_fit(half, n, end):
    return ModelFit(
        "avrami-erofeev",
        {"tau_s": half / math.log(2) ** (1 / n), "exponent": n, "stops_at": end},
        -88.4,
        half,
        (half * 0.95, half * 1.07),
    )


@pytest.fixture(scope="session")
def course():
    rng = np.random.default_rng(4)
    samples = [make_course_sample(c, v, rng) for c in CONDITIONS for v in (1, 2, 3)]
    ratio = CourseComparison("MgCl2 5 C-1", "MgCl2 25 C-1", 13.6, (12.2, 15.4), "different")
    return TimeCourse(tuple(samples), (ratio,), "control", "2026-05-04T13:00:00+02:00", ("exposure-changed",))


@pytest.fixture(scope="session")
def short_course(course):
    """Two conditions of it, quick to draw."""
    return replace(course, samples=course.samples[:2] + course.samples[9:10])


@pytest.fixture(scope="session")
def picture():
    """A dark scene with glowing discs where the samples are, 800 x 600."""
    y, x = np.mgrid[:600, :800]
    out = np.full((600, 800, 3), 12.0)
    spots = ((140, 180, (230, 60, 40)), (380, 180, (225, 64, 40)), (620, 180, (60, 220, 110)),
             (140, 440, (50, 80, 220)), (380, 440, (150, 230, 60)), (500, 440, (170, 60, 160)),
             (660, 440, (255, 255, 255)))  # fmt: skip
    for cx, cy, rgb in spots:
        near = np.exp(-((((x - cx) ** 2 + (y - cy) ** 2) / 30**2) ** 3))
        out += near[..., None] * np.array(rgb)
    return np.clip(out + np.random.default_rng(1).normal(0, 3, out.shape), 0, 255).astype(np.uint8)


def jpeg(picture, **more):
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=85, **more)
    return buffer.getvalue()


@pytest.fixture(scope="session")
def series(course):
    """A series of photographs that shows what the invented time course says."""
    return [_photo_of(course, i, point.path) for i, point in enumerate(course.samples[0].points)]


def _photo_of(course, i, path):
    seats = [(400.0 + k % 5 * 750, 400.0 + k // 5 * 900) for k in range(len(course.samples))]
    return make_photo(
        path,
        [
            make_sample(s.name, (s.points[i].u_prime, s.points[i].v_prime), seat)
            for s, seat in zip(course.samples, seats, strict=True)
        ],
    )


@pytest.fixture(scope="session")
def jpeg_of():
    """A function that makes a JPEG file of pixels, with whatever metadata is asked for."""
    return jpeg
