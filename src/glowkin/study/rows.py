"""What a study answers with: frozen rows of plain figures; ``None`` means unknown."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.maps import FractionMap
    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, Matrix, Pair, TimeCourse

Kind = Literal["track", "compare", "match"]

Status = Literal["measured", "awaited", "not measured"]
"""``awaited``: a measurement is asked for and an older one, if any, stands until it is whole;
``not measured``: it was tried, and the message says why there is none."""


@dataclass(frozen=True, slots=True)
class Overview:
    """A study at a glance; counts are of photographs that are not left out.

    ``measured`` have a result; ``awaited`` are to be measured and ``not_measured`` could not be, ``anew`` of
    these two with an older result that stands.
    """

    title: str
    made_at: str
    made_by: str
    photographs: int
    measured: int
    awaited: int
    not_measured: int
    anew: int
    left_out: int
    samples: int
    first_taken_at: str | None
    last_taken_at: str | None
    edits: int


@dataclass(frozen=True, slots=True)
class PhotographRow:
    """One photograph; ``path`` relative to the study, figures of its current measurement."""

    id: int
    path: str
    sha256: str
    size_bytes: int
    modified_ns: int
    taken_at: str | None
    added_at: str
    note: str
    left_out: str
    status: Status
    message: str | None
    measurement_id: int | None
    measured_at: str | None
    program: str | None
    camera: str | None
    samples: int | None
    exposure_s: float | None
    iso: float | None
    f_number: float | None
    kind: str | None
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SampleRow:
    """One sample in one photograph; the covariance is total, as in the record."""

    path: str
    taken_at: str | None
    measurement_id: int
    name: str
    u_prime: float | None
    v_prime: float | None
    u_prime_v_prime_covariance: Matrix | None
    luminance_relative: float | None
    luminance_per_exposure: float | None
    dominant_wavelength_nm: float | None
    dominant_wavelength_interval_nm: Pair | None
    excitation_purity: float | None
    excitation_purity_interval: Pair | None
    band_centre_nm: float | None
    band_centre_interval_nm: Pair | None
    clipped_fraction: float
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NameRow:
    """A sample by name: in how many photographs it stands, and from when to when."""

    name: str
    photographs: int
    first_taken_at: str | None
    last_taken_at: str | None


@dataclass(frozen=True, slots=True)
class FlagRow:
    """A flag, how many photographs and samples raise it, and the paths of a few."""

    flag: str
    photographs: int
    samples: int
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CameraRow:
    """A camera description: ``sha256`` and ``file`` of its camera file, where there is one."""

    name: str
    basis: str
    sha256: str | None
    file: str | None
    photographs: int


@dataclass(frozen=True, slots=True)
class ProgramRow:
    """A version of the program, with those of what it computes by."""

    program: str
    versions: Mapping[str, str]
    photographs: int


@dataclass(frozen=True, slots=True)
class SettingsRow:
    """Settings that photographs are measured with; files and frames as names and hashes."""

    id: int
    told: Mapping[str, Any]
    photographs: int


@dataclass(frozen=True, slots=True)
class MeasurementRow:
    """One measurement of a photograph, the current or an earlier one."""

    id: int
    measured_at: str
    program: str
    camera: str
    camera_sha256: str | None
    settings_id: int
    samples: int
    current: bool
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ConclusionRow:
    """A course (``track``), comparisons (``compare``) or matches with known forms (``match``), of so many
    ``photographs``; of these, ``gone`` were measured anew or left out since, and it should be made again.
    """

    id: int
    kind: Kind
    made_at: str
    program: str
    words: str
    photographs: int
    gone: int


@dataclass(frozen=True, slots=True)
class Conclusion:
    """A conclusion whole: a course with its maps by the sample's name, or comparisons, or matches."""

    kind: Kind
    course: TimeCourse | None = None
    maps: Mapping[str, tuple[FractionMap, ...]] = field(default_factory=dict)
    pairs: Sequence[Comparison] = ()
    matches: Matches | None = None


@dataclass(frozen=True, slots=True)
class EditRow:
    """One deed of the user's; undone where ``undone_at`` is told."""

    id: int
    made_at: str
    program: str
    words: str
    undone_at: str | None
