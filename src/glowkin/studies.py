"""A study from Python: the door for notebooks and scripts."""

from __future__ import annotations

from html import escape
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from glowkin import bookkeeping, concluding, exporting, recipes, showing
from glowkin.base.errors import CannotMeasureError
from glowkin.base.html_table import Rows
from glowkin.base.matches import Assumed
from glowkin.base.priors import PRIOR_OF_MIXTURES, PRIOR_OF_NONE, SURE, VARIATION
from glowkin.base.settings import Settings
from glowkin.findings.compare import TOLERANCE
from glowkin.giving import read_ratio
from glowkin.options import PROGRAM
from glowkin.session import check_white, meant
from glowkin.study.ledger import study_folder
from glowkin.study.measuring import complete
from glowkin.study.reading import ALL, open_study
from glowkin.study.study_file import study_file_in
from glowkin.study.words import heading
from glowkin.study.workbook import new_study, open_workbook
from glowkin.telling.forms_file import add_form

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
    from glowkin.study.rows import NameRow, PhotographRow, SampleRow
    from glowkin.telling.print_size import Column

Name: TypeAlias = "str | Path"
_SHOWN = ("path", "taken_at", "status", "samples", "camera", "flags", "note")


class Study:
    """A folder that keeps photographs, how they were measured, and what was concluded.

    ``CannotReadError`` where the folder holds none; ``Study.new`` begins one. Photographs that are in the
    study are named by their path, its end, or the first digits of their hash.
    """

    def __init__(self, folder: Name) -> None:
        self.folder = study_folder(Path(folder)).resolve()

    @classmethod
    def new(cls, folder: Name, title: str = "") -> Study:
        """Begin a study in a folder, which is made; ``WrongUseError`` where one is there."""
        return cls(new_study(Path(folder), title, PROGRAM))

    def add(
        self,
        photos: Name | Sequence[Name],
        *,
        names: Sequence[str] = (),
        camera: Name | None = None,
        filter: Name | None = None,  # noqa: A002 - the trade's word, and the command's
        lamp_off: Sequence[Name] = (),
        lens_capped: Sequence[Name] = (),
        flat: Sequence[Name] = (),
        blank: Sequence[Name] = (),
        references: Mapping[str, str] | None = None,
        white_point: str = "E",
        observer: int = 2,
        copy: bool = False,
        bracket: bool = False,
        jobs: int = 2,
    ) -> Rows[PhotographRow]:
        """Take up photographs or folders of them, measure what is new; answers all that the study holds.

        Adding one twice is harmless. ``copy`` copies them into the study; of a ``bracket`` they are the
        exposures, and one measurement; ``jobs`` are decoded at once; the
        others are as in ``glowkin.measure``, files only. What a study.toml in the folder says of camera,
        filter, names and known glows stands where they are not given. ``CannotMeasureError`` names what could
        not be measured, once all the others are kept.
        """
        with open_workbook(self.folder, PROGRAM) as workbook:
            told = bookkeeping.as_written(self.folder, {"outlines": None, "camera": camera, "filter": filter})
            bookkeeping.check_written(
                self.folder, {"camera": camera, "filter": filter, "references": references}
            )
            off, dark, even, nothing = (tuple(f) for f in (lamp_off, lens_capped, flat, blank))
            described = told["camera"], told["filter"]
            glows = tuple((references or {}).items())
            ways = white_point, observer, tuple(names), None
            settings = Settings(*ways, off, dark, even, nothing, *described, references=glows)
            settings = bookkeeping.with_likely(settings, self.folder)
            check_white(settings)
            given = [photos] if isinstance(photos, str | PathLike) else photos
            paths, errors = meant([Path(p) for p in given], settings)
            errors += bookkeeping.taken_up(workbook, paths, settings, copy=copy, bracket=bracket)[1]
            written = study_file_in(self.folder)
            done = complete(workbook, jobs, names=written.names if written else ())
        wrong = [error["message"] for error in errors] + [message for _, message in done.errors]
        if wrong:
            raise CannotMeasureError("\n".join(wrong))
        return self.photographs()

    def photographs(self) -> Rows[PhotographRow]:
        """All photographs that are not left out, in order of capture."""
        with open_study(self.folder) as reading:
            return Rows(reading.photographs(ALL), _SHOWN)

    def samples(self) -> Rows[NameRow]:
        """The samples by name, each with how often it was photographed."""
        with open_study(self.folder) as reading:
            return Rows(reading.names())

    def sample(self, name: str) -> Rows[SampleRow]:
        """One sample through all photographs, in order of capture."""
        with open_study(self.folder) as reading:
            shown = ("path", "taken_at", "u_prime", "v_prime", "luminance_per_exposure", "flags")
            return Rows(reading.course(name), shown)

    def measured(self, photo: Name) -> MeasuredPhoto:
        """The whole record of a photograph's current measurement; ``path`` is relative to the study."""
        with open_study(self.folder) as reading:
            row = reading.find(str(photo))
            if row.measurement_id is None:
                raise CannotMeasureError(row.message or f"{row.path}: is still to be measured; add it again")
            return reading.record(row.measurement_id)

    def compare(
        self,
        photos: Sequence[Name] = (),
        *,
        pairs: Sequence[tuple[str, str]] = (),
        tolerance: float = TOLERANCE,
        lab_white: str | None = None,
    ) -> list[Comparison]:
        """Compare samples of photographs in the study (all, if none is named), and keep what comes of it.

        ``pairs`` as in the command ``compare``; all pairs within each photograph, if left out.
        """
        asked = {"pairs": tuple(pairs), "tolerance": tolerance, "lab_white": lab_white}
        with open_workbook(self.folder, PROGRAM) as workbook:
            return concluding.compared(workbook, _paths(photos), PROGRAM, asked)[3]

    def track(
        self,
        photos: Sequence[Name] = (),
        *,
        names: Sequence[str] = (),
        controls: Sequence[str] = (),
        converted: Sequence[str] = (),
        start: str | None = None,
        swapped: Sequence[tuple[str, str, str]] = (),
        at: Sequence[float] = (),
        all_models: bool = False,
        jobs: int = 2,
        old_form: str = "",
        new_form: str = "",
        luminance_ratio: str | float | None = None,
    ) -> TimeCourse:
        """Follow samples through photographs of the study (those of one arrangement, if none is named), and
        keep the course, with maps of the samples that change.

        ``all_models`` asks for all rate models in tables, not only the best three; ``jobs`` photographs are
        read again at once, for the maps; the others are as in ``glowkin.track``. A study.toml in the folder
        says what they do not.
        """
        asked: dict[str, Any] = {
            "names": tuple(names), "controls": tuple(controls), "converted": tuple(converted),
            "start": start, "swapped": tuple(swapped), "at": tuple(at), "all_models": all_models,
            "old_form": old_form, "new_form": new_form, "luminance_ratio": read_ratio(luminance_ratio),
        }  # fmt: skip
        with open_workbook(self.folder, PROGRAM) as workbook:
            return concluding.tracked(workbook, _paths(photos), PROGRAM, asked, jobs)[3]

    def match(
        self,
        photos: Sequence[Name] = (),
        *,
        forms: Name | None = None,
        prior_of_none: float = PRIOR_OF_NONE,
        prior_of_mixtures: float = PRIOR_OF_MIXTURES,
        weights: Mapping[str, float] | None = None,
        variation: float = VARIATION,
        sure: float = SURE,
    ) -> Matches:
        """Set samples of photographs in the study (all, if none is named) beside known forms, and keep what
        comes of it with the forms.

        ``forms`` is a forms file; without one that of the latest match in the study is taken. The others are
        as in ``glowkin.match``.
        """
        assumed = Assumed(prior_of_none, prior_of_mixtures, dict(weights or {}), variation, sure)
        file = None if forms is None else Path(forms)
        with open_workbook(self.folder, PROGRAM) as workbook:
            return concluding.matched(workbook, _paths(photos), PROGRAM, file, assumed)[3]

    def keep_form(
        self, photo: Name, sample: str, name: str, forms: Name, *, source: str = "", excitation: str = ""
    ) -> Path:
        """Put a sample of a photograph in the study into a forms file, which is made where there is none, as
        the known form ``name``; answers the file.

        ``source`` is a reference or DOI, ``excitation`` such as "365 nm". ``WrongUseError`` where the file
        has a form of that name.
        """
        form = recipes.form_of([self.measured(photo)], sample, name, source or None, excitation or None)
        return add_form(Path(forms), form, PROGRAM)

    def export(
        self,
        out: Name | None = None,
        *,
        zip_file: Name | None = None,
        width: Column = "single",
        with_metadata: bool = False,
        jobs: int = 2,
    ) -> dict[str, Any]:
        """Write tables and figures into a folder, all of the study into a zip, or both; answers what was
        written, as ``glowkin.export.v1`` has it. The options are those of the command.
        """
        folder, file = (None if place is None else Path(place) for place in (out, zip_file))
        return exporting.exported(
            self.folder, PROGRAM, out=folder, zip_file=file, width=width, with_metadata=with_metadata,
            jobs=jobs, say=lambda _: None,
        )  # fmt: skip

    def report(self) -> Path:
        """Write report.html in the study's folder; answers its path, as seen from the working folder where it
        lies in that.
        """
        page, here = showing.report(self.folder, PROGRAM), Path.cwd()
        return page.relative_to(here) if page.is_relative_to(here) else page

    def __repr__(self) -> str:
        """The study in a sentence or two."""
        with open_study(self.folder) as reading:
            return f"Study({self.folder.resolve().name!r}): {heading(reading.overview())}"

    def _repr_html_(self) -> str:
        return f"<p>{escape(repr(self))}</p>{self.photographs()._repr_html_()}"


def _paths(photos: Sequence[Name]) -> list[Path]:
    return [Path(photo) for photo in photos]
