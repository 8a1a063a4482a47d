"""Records of a study: what a study file says of samples, lamps, photographs and events.

The fields are the file's keys. pydantic reads these dataclasses (``study.study_file``); they hold plain
values, so that any room can use them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, datetime
from fnmatch import fnmatchcase
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field

from glowkin.base.durations import moment_of
from glowkin.base.errors import WrongUseError
from glowkin.base.events import EventKind  # noqa: TC001 - pydantic reads it
from glowkin.base.given import LuminanceRatio
from glowkin.base.storages import Vial, vial_of

State = Literal["wet", "dried", "ground"]


def _moment(value: Any) -> Any:
    """A time of TOML, or text, as ISO 8601."""
    if (told := moment_of(value)) is not None:
        return told.isoformat()
    raise ValueError("must be a date with a time of day, as 2026-05-04T13:30:00")


def _day(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    raise ValueError("must be a date, as 2026-05-04")


Name = Annotated[str, Field(min_length=1)]
Moment = Annotated[str, BeforeValidator(_moment)]
Day = Annotated[str, BeforeValidator(_day)]
Celsius = Annotated[float, Field(strict=True, ge=-273.15, le=1000.0, allow_inf_nan=False)]
Percent = Annotated[float, Field(strict=True, ge=0.0, le=100.0)]
Nanometres = Annotated[float, Field(strict=True, ge=180.0, le=500.0)]
Minutes = Annotated[float, Field(strict=True, ge=0.0, allow_inf_nan=False)]


def _number_as_text(value: Any) -> Any:
    """A replicate may be written as a number."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _ratio(value: Any) -> Any:
    """A luminance ratio, a number or text, as text."""
    text = str(value) if isinstance(value, int | float) and not isinstance(value, bool) else value
    try:
        LuminanceRatio.read(text, "luminance_ratio")
    except (TypeError, WrongUseError):
        raise ValueError('must be a number, or text as "10±2" with one standard deviation') from None
    return text


def _address(value: Any) -> Any:
    if isinstance(value, str) and all(value.rpartition(":")):
        return value
    raise ValueError("must be PHOTO:SAMPLE or FORMS.json:FORM, as fresh.dng:S1")


RatioText = Annotated[str, BeforeValidator(_ratio)]
FormAddress = Annotated[str, BeforeValidator(_address)]


class _Table:
    """A table of the file, which has no keys but these."""

    __pydantic_config__ = ConfigDict(extra="forbid")


@dataclass(frozen=True, kw_only=True)
class Lamp(_Table):
    """A lamp by the peak of its excitation and the filter before it."""

    name: Name
    peak_nm: Nanometres | None = None
    filter: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class Shot(_Table):
    """How photographs are taken: ``lamp`` by its name, temperature and relative humidity of the samples at
    the shot, and the minutes that the lamp was on for one photograph; ``room_light`` is the file of a
    photograph of the same samples in room light, by its path from the study file.
    """

    lamp: str = ""
    temperature_c: Celsius | None = None
    humidity_percent: Percent | None = None
    lamp_on_min: Minutes | None = None
    filter: str = ""
    room_light: str = ""


@dataclass(frozen=True, kw_only=True)
class PhotographTold(Shot):
    """What differs for the photographs whose file names match ``file`` (as ``IMG_2*.dng``); ``state`` is that
    of all samples in them.
    """

    file: Name
    state: State | None = None
    notes: str = ""

    def means(self, path: str) -> bool:
        """Whether a photograph is among those meant."""
        return fnmatchcase(path.replace("\\", "/").rsplit("/", 1)[-1], self.file)


@dataclass(frozen=True, kw_only=True)
class CameraTold(_Table):
    """The camera file, by its path from the study file."""

    file: str = ""


@dataclass(frozen=True, kw_only=True)
class StudyForm(_Table):
    """A form of the substance."""

    name: Name
    formula: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class Batch(_Table):
    """One preparation; ``preparation`` is its preparation file, by its path from the study file."""

    name: Name
    form: str = ""
    prepared: Day | None = None
    preparation: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class Condition(_Table):
    """A storage. ``kind``: what it is but for its temperature; conditions of one kind make an Arrhenius fit.

    Where the keys are left out, ``kind`` and temperature are read from the name, as in MgCl2 25 C.
    """

    name: Name
    temperature_c: Celsius | None = None
    humidity_percent: Percent | None = None
    kind: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class StudySample(_Table):
    """One sample, listed as they stand in the photographs: left to right, then top to bottom."""

    name: Name
    form: str = ""
    batch: str = ""
    replicate: Annotated[str, BeforeValidator(_number_as_text)] = ""
    condition: str = ""
    state: State | None = None
    reference: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class EventTold(_Table):
    """Something that happened; see ``events.Event``."""

    at: Moment
    what: EventKind
    samples: tuple[str, ...] = ()
    temperature_c: Celsius | None = None
    lamp: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class StudyFile(_Table):
    """All that a study file says; every key may be left out."""

    title: str = ""
    author: str = ""
    licence: str = ""
    notes: str = ""
    start: Moment | None = None
    controls: tuple[str, ...] = ()
    converted: tuple[str, ...] = ()
    blanks: tuple[str, ...] = ()
    old_form: FormAddress = ""
    new_form: FormAddress = ""
    luminance_ratio: RatioText = ""
    camera: CameraTold = field(default_factory=CameraTold)
    shot: Shot = field(default_factory=Shot)
    lamp: tuple[Lamp, ...] = ()
    form: tuple[StudyForm, ...] = ()
    batch: tuple[Batch, ...] = ()
    condition: tuple[Condition, ...] = ()
    sample: tuple[StudySample, ...] = ()
    photograph: tuple[PhotographTold, ...] = ()
    event: tuple[EventTold, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The samples' names, in reading order."""
        return tuple(s.name for s in self.sample)

    @property
    def ratio(self) -> LuminanceRatio | None:
        """The luminance of the new form to that of the old, per amount, where it is told."""
        return LuminanceRatio.read(self.luminance_ratio, "luminance_ratio") if self.luminance_ratio else None

    @property
    def references(self) -> tuple[tuple[str, str], ...]:
        """Samples of known glow, each with what it is."""
        return tuple((s.name, s.reference) for s in self.sample if s.reference)

    @property
    def zero(self) -> str | None:
        """Time zero: the start, else the first time that something was opened."""
        opened = [e.at for e in self.event if e.what == "opened"]
        return self.start or min(opened, default=None)

    @property
    def vials(self) -> dict[str, Vial]:
        """Condition, batch and replicate of each sample of which one of them is told."""
        return {s.name: self._vial(s) for s in self.sample if s.condition or s.batch or s.replicate}

    def _vial(self, sample: StudySample) -> Vial:
        by_name = vial_of(sample.name)
        told = next((c for c in self.condition if c.name == sample.condition), None)
        name = sample.condition or by_name.condition
        read = vial_of(name, alone=True)
        celsius = told.temperature_c if told and told.temperature_c is not None else read.temperature_c
        return Vial(
            sample.name,
            name,
            replicate=sample.replicate or by_name.replicate,
            batch=sample.batch,
            temperature_c=celsius,
            kind=(told.kind if told else "") or read.kind,
        )

    def shot_of(self, path: str, taken_at: str | None = None) -> Shot:
        """How a photograph was taken: its own entry's word, else that of all, the lamp by the last event."""
        shot = self.shot
        changes = sorted((e.at, e.lamp) for e in self.event if e.what == "lamp changed" and e.lamp)
        for at, lamp in changes:
            if taken_at and _naive(taken_at) >= _naive(at):
                shot = replace(shot, lamp=lamp)
        for own in self.photograph:
            if own.means(path):
                known = {k: getattr(own, k) for k in Shot.__dataclass_fields__}
                shot = replace(shot, **{k: v for k, v in known.items() if v not in ("", None)})
        return shot

    def state_in(self, path: str) -> str:
        """The state of all samples in a photograph, where its own entry tells one."""
        return next((p.state for p in reversed(self.photograph) if p.state and p.means(path)), "")

    def lamp_named(self, name: str) -> Lamp | None:
        """The lamp of that name; of one lamp only, that one, where no name is given."""
        if not name and len(self.lamp) == 1:
            return self.lamp[0]
        return next((lamp for lamp in self.lamp if lamp.name == name), None)


def _naive(moment: str) -> datetime:
    return datetime.fromisoformat(moment).replace(tzinfo=None)
