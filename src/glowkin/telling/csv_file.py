"""samples.csv and course.csv: one row a sample, or a sample at a time; the unit in every column's head."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from glowkin.base.records import MeasuredPhoto, Sample, TimeCourse

    Take: TypeAlias = Callable[[MeasuredPhoto, Sample], Any]


def samples_csv(photos: Sequence[MeasuredPhoto]) -> str:
    """One row a sample; every column's head names its unit (1 for a pure number); unknown is empty."""
    return b"".join(samples_csv_parts(photos)).decode()


def samples_csv_parts(photos: Iterable[MeasuredPhoto]) -> Iterator[bytes]:
    """The same, a photograph at a time."""
    yield csv_text([head for head, _ in _COLUMNS], ()).encode()
    for photo in photos:
        yield _csv([take(photo, s) for _, take in _COLUMNS] for s in photo.samples).encode()


def course_csv(course: TimeCourse) -> str:
    """One row a followed sample and photograph; unknown is empty."""
    return b"".join(course_csv_parts(course)).decode()


def course_csv_parts(course: TimeCourse) -> Iterator[bytes]:
    """The same, a row at a time."""
    heads = (
        "sample", "time after time zero (s)", "photograph", "fraction in the starting form (1)",
        "fraction low 95 % (1)", "fraction high 95 % (1)", "share of the light (1)", "u prime (1)",
        "v prime (1)", "relative luminance (1)", "flags",
    )  # fmt: skip
    rows = (
        (s.name, p.time_s, p.path, p.fraction_start, p.low, p.high, p.light_fraction_start, p.u_prime,
         p.v_prime, p.luminance_relative, p.flags)
        for s in course.samples
        for p in s.points
    )  # fmt: skip
    yield csv_text(heads, ()).encode()
    yield from (_csv([row]).encode() for row in rows)


def csv_text(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table of any rows, its cells as ``samples_csv`` has them."""
    return _csv([head]) + _csv(rows)


def _csv(rows: Iterable[Sequence[Any]]) -> str:
    buffer = io.StringIO()
    out = csv.writer(buffer, lineterminator="\n")
    out.writerows([_cell(value) for value in row] for row in rows)
    return buffer.getvalue()


def _cell(value: Any) -> Any:
    """A number as it is, flags joined, unknown empty; text no spreadsheet takes for a formula."""
    if value is None:
        return ""
    if isinstance(value, tuple):
        return " ".join(str(v) for v in value)
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@") else value


def _end(field_name: str, i: int) -> Take:
    def take(_: MeasuredPhoto, sample: Sample) -> Any:
        interval = getattr(sample, field_name)
        return None if interval is None else interval[i]

    return take


def _own(field_name: str) -> Take:
    return lambda _, sample: getattr(sample, field_name)


def _of_photo(field_name: str) -> Take:
    return lambda photo, _: getattr(photo, field_name)


def _covariance(i: int, j: int) -> Take:
    def take(_: MeasuredPhoto, sample: Sample) -> Any:
        C = sample.u_prime_v_prime_covariance
        return None if C is None else C[i][j]

    return take


def _with_interval(head: str, field_name: str, unit: str) -> list[tuple[str, Take]]:
    stem = field_name.removesuffix("_nm")
    interval = f"{stem}_interval_nm" if field_name.endswith("_nm") else f"{stem}_interval"
    return [
        (f"{head} ({unit})", _own(field_name)),
        (f"{head} low 95 % ({unit})", _end(interval, 0)),
        (f"{head} high 95 % ({unit})", _end(interval, 1)),
    ]


_COLUMNS: list[tuple[str, Take]] = [
    ("photograph", _of_photo("path")),
    ("taken at (ISO 8601)", _of_photo("taken_at")),
    ("sample", _own("name")),
    ("centre x (px)", lambda _, s: s.centre_px[0]),
    ("centre y (px)", lambda _, s: s.centre_px[1]),
    ("area (px2)", _own("area_px")),
    ("u prime (1)", _own("u_prime")),
    ("v prime (1)", _own("v_prime")),
    ("variance u prime (1)", _covariance(0, 0)),
    ("covariance u prime v prime (1)", _covariance(0, 1)),
    ("variance v prime (1)", _covariance(1, 1)),
    ("x (1)", _own("x")),
    ("y (1)", _own("y")),
    ("relative luminance (1)", _own("luminance_relative")),
    *_with_interval("dominant wavelength", "dominant_wavelength_nm", "nm"),
    *_with_interval("complementary wavelength", "complementary_wavelength_nm", "nm"),
    *_with_interval("excitation purity", "excitation_purity", "1"),
    *_with_interval("inferred band centre", "band_centre_nm", "nm"),
    *_with_interval("inferred band width", "band_width_nm", "nm"),
    ("unevenness u prime v prime (1)", _own("unevenness_u_prime_v_prime")),
    ("clipped fraction (1)", _own("clipped_fraction")),
    ("flags of the sample", _own("flags")),
    ("flags of the photograph", _of_photo("flags")),
    ("SHA-256", _of_photo("sha256")),
]
