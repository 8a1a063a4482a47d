"""What glowkin answers with: frozen records, in the names and units of the documented JSON.

Records hold plain numbers and tuples, so that reading, printing and comparing them needs no numerical
library. ``None`` means unknown, and a flag says why.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

from glowkin.base.clocks import Bleaching, ClockFound, told_from_json
from glowkin.base.events import Event  # noqa: TC001 - a field of a record
from glowkin.base.given import FormGiven, LuminanceRatio, given_from_json
from glowkin.base.ground import GroundSeen, LampSteadied, steadied_from_json
from glowkin.base.html_table import table_html
from glowkin.base.maps import MapFound
from glowkin.base.plain import plain, tuples
from glowkin.base.references import ReferenceRead
from glowkin.base.storages import Arrhenius, CourseComparison, StorageCourse, Vial, storages_from_json

Pair = tuple[float, float]
Matrix = tuple[tuple[float, ...], ...]
Row = dict[str, Any]
T = TypeVar("T")
CHANNELS = ("red", "green", "blue")


@dataclass(frozen=True, slots=True)
class Sample:
    """One glowing sample in one photograph.

    ``u_prime_v_prime_covariance`` is total and scaled so that its chi-square ellipse holds 95 %;
    ``shared_errors`` are the loadings (2 x r for each source) that other samples have in common with this
    one. ``linear_rgb`` is the mean linear signal of the camera's channels as a share of full scale, the
    stray light ``stray_rgb`` taken off; ``linear_rgb_covariance`` is that of the mean alone.
    ``clipped_channels``: those of which it is only known that they are at the ceiling at least; the colour is
    what the others leave then, ``luminance_relative`` the least that it may be, ``linear_rgb`` unknown.
    ``bound_rgb``: of a sample clipped in part, in a raw file, the mean over all of it, which is the least
    that its ``bound_channels`` may be, and what the others are.
    """

    name: str
    centre_px: Pair
    area_px: float
    outline_px: Matrix
    u_prime: float | None = None
    v_prime: float | None = None
    u_prime_v_prime_covariance: Matrix | None = None
    shared_errors: dict[str, Matrix] | None = None
    x: float | None = None
    y: float | None = None
    luminance_relative: float | None = None
    luminance_per_exposure: float | None = None
    dominant_wavelength_nm: float | None = None
    dominant_wavelength_interval_nm: Pair | None = None
    complementary_wavelength_nm: float | None = None
    complementary_wavelength_interval_nm: Pair | None = None
    excitation_purity: float | None = None
    excitation_purity_interval: Pair | None = None
    hue_angle_uv_deg: float | None = None
    saturation_uv: float | None = None
    band_centre_nm: float | None = None
    band_centre_interval_nm: Pair | None = None
    band_width_nm: float | None = None
    band_width_interval_nm: Pair | None = None
    unevenness_u_prime_v_prime: float | None = None
    clipped_fraction: float = 0.0
    clipped_channels: tuple[str, ...] = ()
    linear_rgb: tuple[float, float, float] | None = None
    linear_rgb_covariance: Matrix | None = None
    stray_rgb: tuple[float, float, float] | None = None
    bound_rgb: tuple[float, float, float] | None = None
    bound_rgb_covariance: Matrix | None = None
    bound_channels: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class CameraUsed:
    """Which camera description a photograph was measured with.

    ``luminance_weights`` turn linear RGB into relative luminance.
    """

    name: str
    basis: str
    luminance_weights: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class MergedExposure:
    """One exposure of a bracket: how much more light than the reference it let in, with its interval, and
    where in it the reference's origin lies.
    """

    path: str
    sha256: str
    exposure_s: float | None
    iso: float | None
    f_number: float | None
    ratio: float
    ratio_interval: Pair
    shift_px: Pair


@dataclass(frozen=True)
class FrameUsed:
    """A frame taken beside the photograph: ``kind`` is the option that brought it, such as lamp-off."""

    kind: str
    path: str
    sha256: str


@dataclass(frozen=True)
class Rejected:
    """A bright place that was not taken for a sample: its outline in pixels and the reason, in words."""

    outline_px: Matrix
    reason: str


@dataclass(frozen=True)
class MeasuredPhoto:
    """One photograph, measured; or the exposures ``merged_from``, the reference first and described here.

    ``frames`` are those taken beside it that were used; ``rejected`` the bright places that are no samples.
    """

    path: str
    sha256: str
    taken_at: str | None
    exposure_s: float | None
    iso: float | None
    f_number: float | None
    kind: str
    size_px: tuple[int, int]
    camera: CameraUsed
    white_point: str
    white_point_xy: Pair
    observer: int
    flags: tuple[str, ...]
    samples: tuple[Sample, ...]
    merged_from: tuple[MergedExposure, ...] = ()
    frames: tuple[FrameUsed, ...] = ()
    rejected: tuple[Rejected, ...] = ()
    references: tuple[ReferenceRead, ...] = ()
    ground: GroundSeen | None = None

    def sample(self, name: str) -> Sample | None:
        """The sample of that name, if it is in this photograph."""
        return next((s for s in self.samples if s.name == name), None)

    def without_outlines(self) -> MeasuredPhoto:
        """The same without its outlines and shared errors, which are most of it, and no course needs them."""
        samples = tuple(replace(s, outline_px=(), shared_errors=None) for s in self.samples)
        return replace(self, samples=samples, rejected=())

    def rows(self) -> list[Row]:
        """One plain row a sample, the photograph's path first."""
        return [{"path": self.path, "taken_at": self.taken_at, **to_json(s)} for s in self.samples]

    def _repr_html_(self) -> str:
        return table_html(self.rows(), MEASURE_COLUMNS)


@dataclass(frozen=True)
class Place:
    """A sample's address: the photograph and the name in it."""

    path: str
    name: str


@dataclass(frozen=True)
class Comparison:
    """Two samples against each other.

    The interval is 95 %; its lower end is 0 where the difference is not told from none.
    """

    a: Place
    b: Place
    delta_u_prime_v_prime: float
    delta_u_prime_v_prime_interval: Pair
    n_step: float
    delta_dominant_wavelength_nm: float | None
    delta_dominant_wavelength_interval_nm: Pair | None
    delta_e_2000: float | None
    delta_e_2000_white: str | None
    tolerance_u_prime_v_prime: float
    probability_within_tolerance: float
    verdict: str
    flags: tuple[str, ...] = ()

    def rows(self) -> list[Row]:
        """One plain row."""
        flat = to_json(self)
        return [{**flat, "a": self.a.name, "b": self.b.name, "a_path": self.a.path, "b_path": self.b.path}]

    def _repr_html_(self) -> str:
        return table_html(self.rows(), COMPARE_COLUMNS)


@dataclass(frozen=True)
class Ratio:
    """A fitted ratio with its 95 % interval."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class TrackPoint:
    """One sample at one time; ``fraction_start`` is amount, ``light_fraction_start`` is light."""

    time_s: float
    path: str
    fraction_start: float | None
    low: float | None
    high: float | None
    light_fraction_start: float | None
    u_prime: float | None
    v_prime: float | None
    luminance_relative: float | None
    flags: tuple[str, ...] = ()
    lamp_on_s: float | None = None


@dataclass(frozen=True)
class ModelFit:
    """One rate model fitted to one sample."""

    model: str
    parameters: dict[str, float]
    aicc: float
    half_time_s: float | None
    half_time_interval_s: tuple[float | None, float | None] | None


@dataclass(frozen=True)
class SampleCourse:
    """What one sample did over time."""

    name: str
    verdict: str
    two_forms_suffice: bool | None
    luminance_ratio: Ratio | None
    stops_at: float | None
    model: str | None
    not_excluded: tuple[str, ...]
    half_time_s: float | None
    half_time_interval_s: tuple[float | None, float | None] | None
    light_half_time_s: float | None
    longer_than_s: float | None
    models: tuple[ModelFit, ...]
    points: tuple[TrackPoint, ...]
    stops_at_interval: Pair | None = None
    flags: tuple[str, ...] = ()
    vial: Vial | None = None
    begun_s: float = 0.0
    clock: ClockFound | None = None
    map: MapFound | None = None
    spoiled_photos: tuple[str, ...] = ()
    contradicted: tuple[str, ...] = ()


@dataclass(frozen=True)
class TimeCourse:
    """Samples followed through a series of photographs."""

    samples: tuple[SampleCourse, ...]
    comparisons: tuple[CourseComparison, ...]
    control: str | None = None
    start: str | None = None
    flags: tuple[str, ...] = ()
    storages: tuple[StorageCourse, ...] = ()
    storage_comparisons: tuple[CourseComparison, ...] = ()
    arrhenius: tuple[Arrhenius, ...] = ()
    events: tuple[Event, ...] = ()
    bleaching: tuple[Bleaching, ...] = ()
    models_shown: int = 3
    forms_given: tuple[FormGiven, ...] = ()
    luminance_ratio_given: LuminanceRatio | None = None
    lamp_steadied: LampSteadied | None = None

    def sample(self, name: str) -> SampleCourse | None:
        """The course of that sample, if it was followed."""
        return next((s for s in self.samples if s.name == name), None)

    def rows(self) -> list[Row]:
        """One plain row for each sample and time."""
        return [{"name": s.name, **to_json(p)} for s in self.samples for p in s.points]

    def _repr_html_(self) -> str:
        return table_html([to_json(s) for s in self.samples], TRACK_COLUMNS)


MEASURE_COLUMNS = (
    "name", "u_prime", "v_prime", "dominant_wavelength_nm", "excitation_purity", "luminance_relative",
    "flags",
)  # fmt: skip
COMPARE_COLUMNS = ("a", "b", "delta_u_prime_v_prime", "delta_u_prime_v_prime_interval", "verdict")
TRACK_COLUMNS = ("name", "verdict", "model", "half_time_s", "half_time_interval_s", "stops_at", "flags")


def to_json(record: Any) -> Row:
    """A record as plain dicts, lists and numbers (tuples become lists when written)."""
    row: Row = plain(record)
    return row


def measure_document(photos: Any, errors: Any, program: str) -> Row:
    """The glowkin.measure.v1 document; ``errors`` are rows of path and message."""
    return {
        "schema": "glowkin.measure.v1",
        "program": program,
        "errors": list(errors),
        "photos": [to_json(photo) for photo in photos],
    }


def compare_document(pairs: Any, errors: Any, program: str) -> Row:
    """The glowkin.compare.v1 document."""
    return {
        "schema": "glowkin.compare.v1",
        "program": program,
        "errors": list(errors),
        "pairs": [to_json(pair) for pair in pairs],
    }


def track_document(course: TimeCourse, errors: Any, program: str) -> Row:
    """The glowkin.track.v1 document."""
    return {"schema": "glowkin.track.v1", "program": program, "errors": list(errors), **to_json(course)}


def photos_from_json(document: Row) -> list[MeasuredPhoto]:
    """Read the photographs of a glowkin.measure.v1 document back."""
    return [_photo(row) for row in document["photos"]]


def pairs_from_json(document: Row) -> list[Comparison]:
    """Read the pairs of a glowkin.compare.v1 document back."""
    return [build(Comparison, {**p, **{k: build(Place, p[k]) for k in "ab"}}) for p in document["pairs"]]


def course_from_json(document: Row) -> TimeCourse:
    """Read a glowkin.track.v1 document back."""
    samples = tuple(_course(row) for row in document["samples"])
    comparisons = tuple(build(CourseComparison, row) for row in document["comparisons"])
    found = {"samples": samples, "comparisons": comparisons, **storages_from_json(document)}
    found |= told_from_json(document) | given_from_json(document) | steadied_from_json(document)
    return build(TimeCourse, {**document, **found})


def _photo(row: Row) -> MeasuredPhoto:
    samples = tuple(build(Sample, s) for s in row["samples"])
    nested = {
        "camera": build(CameraUsed, row["camera"]),
        "samples": samples,
        "merged_from": tuple(build(MergedExposure, m) for m in row.get("merged_from", ())),
        "frames": tuple(build(FrameUsed, f) for f in row.get("frames", ())),
        "references": tuple(build(ReferenceRead, r) for r in row.get("references", ())),
        "rejected": tuple(build(Rejected, r) for r in row.get("rejected", ())),
        "ground": build(GroundSeen, row["ground"]) if row.get("ground") else None,
    }
    return build(MeasuredPhoto, {**row, **nested})


def _course(row: Row) -> SampleCourse:
    ratio = row["luminance_ratio"]
    nested = {
        "luminance_ratio": ratio and build(Ratio, ratio),
        "models": tuple(build(ModelFit, m) for m in row["models"]),
        "points": tuple(build(TrackPoint, p) for p in row["points"]),
        "clock": build(ClockFound, row["clock"]) if row.get("clock") else None,
        "vial": build(Vial, row["vial"]) if row.get("vial") else None,
        "map": build(MapFound, row["map"]) if row.get("map") else None,
    }
    return build(SampleCourse, {**row, **nested})


def build(kind: type[T], row: Row) -> T:
    """A record from a row, lists turned back into tuples, keys of later versions passed over."""
    names = {f.name for f in fields(kind)}  # type: ignore[arg-type]
    return kind(**{key: tuples(value) for key, value in row.items() if key in names})
