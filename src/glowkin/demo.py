"""The whole job on the sample photographs, what is found set beside the known answers."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glowkin import recipes
from glowkin.base.errors import CannotReadError
from glowkin.base.files import folder_made, write_whole
from glowkin.base.settings import Settings
from glowkin.base.uncertainty import Z95
from glowkin.findings.compare import uncertain_colour
from glowkin.studies import Study
from glowkin.study.ledger import LEDGER, PHOTOS
from glowkin.telling.forms_file import add_form
from glowkin.telling.naming import base_name
from glowkin.terminal import plain_console, print_json, print_table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, MeasuredPhoto, Sample, TimeCourse
    from glowkin.camera.camera_file import CameraFile
    from glowkin.study.workbook import Workbook
    from glowkin.telling.out_dir import Parts

HOUR_S = 3600.0


@dataclass(frozen=True)
class Check:
    """One figure found, with its 95 % interval, beside the known answer."""

    what: str
    found: float | None
    low: float | None
    high: float | None
    known: float
    unit: str = ""

    @property
    def inside(self) -> bool:
        """Whether the interval holds the known answer."""
        return self.low is not None and self.high is not None and self.low <= self.known <= self.high


@dataclass(frozen=True)
class Told:
    """A verdict beside what is truly so."""

    what: str
    verdict: str
    known: str


def sample_images() -> Path:
    """The folder of sample photographs: packed in when installed, beside ``src`` in a checkout."""
    here = Path(__file__).parent
    for folder in (here / "sample_images", here.parents[1] / "sample_images"):
        if (folder / "answers.json").is_file():
            return folder
    raise CannotReadError(f"{here}: the sample photographs are missing; install glowkin again")


def run_demo(out: Path, program: str, *, as_json: bool) -> None:
    """Calibrate, measure into a study, compare, track, match with known forms and report the sample
    photographs; print found beside known. A study that is there from an earlier run is measured anew.
    """
    from glowkin.study import reporting
    from glowkin.study.reading import open_study
    from glowkin.telling.out_dir import published, report_text

    folder = sample_images()
    answers = json.loads((folder / "answers.json").read_text("utf-8"))
    file = _calibrated(folder, out, program)
    _filled(folder, out, program, answers)
    with open_study(out) as reading:
        parts = reporting.gathered(reading, program)
    raw, jpeg = _named(parts, "side_by_side.dng"), _named(parts, "side_by_side.jpg")
    course = parts.course
    if course is None:
        raise CannotReadError(f"{out}: holds another study; name another folder with --out")
    report = write_whole(out / "report.html", report_text(published(parts)).encode())
    checks = [
        *_camera_checks(file, answers["chart"]),
        *_colour_checks(raw, answers),
        *_colour_checks(jpeg, answers, " from the JPEG"),
        *_course_checks(course, answers["series"]),
    ]
    told = [
        *_pair_verdicts(parts.pairs, answers),
        *_course_verdicts(course, answers["series"]),
        *_match_verdicts(parts.matches, answers["side_by_side"]),
    ]
    if as_json:
        rows = [{**asdict(check), "inside": check.inside} for check in checks]
        verdicts = [asdict(t) for t in told]
        document = {"schema": "glowkin.demo.v1", "program": program, "errors": []}
        found = {"checks": rows, "verdicts": verdicts, "report": str(report)}
        print_json({**document, **found})
        return
    _print(checks, told, report)


def _calibrated(folder: Path, out: Path, program: str) -> CameraFile:
    """The camera made from the sample chart, kept in the study's folder."""
    folder_made(out)
    file = recipes.fit_camera(folder / "chart.dng")
    file.save(out / "camera.json", program)
    return file


def _filled(folder: Path, out: Path, program: str, known: dict[str, Any]) -> None:
    """The study of the sample photographs, and what it says: the raw file and the JPEG of one shot, compared,
    a series, followed, and the shot beside the forms that the series' first and last photograph show.

    The blank of the shot comes last in reading order, and does not glow.
    """
    from glowkin.study.measuring import complete
    from glowkin.study.workbook import new_study, open_workbook

    for name in ("study.toml", "preparation.toml", "room_light.jpg"):
        write_whole(out / name, (folder / name).read_bytes())
    if not (out / LEDGER).exists():
        new_study(out, "demo", program)
    glowing = tuple(s["name"] for s in known["side_by_side"]["samples"] if "u_prime" in s)
    along = tuple(known["series"]["names"].split(","))
    by_chart = Settings(camera=out / "camera.json")
    with open_workbook(out, program) as workbook:
        _add(workbook, [folder / "side_by_side.dng"], by_chart, glowing)
        _add(workbook, [folder / "side_by_side.jpg"], Settings(), glowing)
        _add(workbook, sorted((folder / "series").glob("*.dng")), by_chart, along)
        for _, message in complete(workbook, jobs=2).errors:
            raise CannotReadError(f"{message}; install glowkin again, or name another folder with --out")
    study = Study(out)
    series = [Path(PHOTOS) / path.name for path in sorted((folder / "series").glob("*.dng"))]
    study.track(series)
    study.compare([Path(PHOTOS) / "side_by_side.dng"])
    study.match([Path(PHOTOS) / "side_by_side.dng"], forms=_forms(study, series, program))


def _forms(study: Study, series: Sequence[Path], program: str) -> Path:
    """The two forms as the series shows them, in a file: the red one in its first photograph, the green one
    in its last.
    """
    file = study.folder / "forms.json"
    for photo, sample, name in ((series[0], "MgCl2-5C-1", "red"), (series[-1], "MgCl2-25C-1", "green")):
        form = recipes.form_of([study.measured(photo)], sample, name, None, "365 nm")
        add_form(file, form, program, replace=True)
    return file


def _add(workbook: Workbook, paths: Sequence[Path], settings: Settings, names: tuple[str, ...]) -> None:
    """Copy photographs into the study and ask for their measurement, also where they are in it already."""
    from glowkin.study.ways import way_of

    way = workbook.keep_way(way_of(settings, workbook.folder))
    taken = [workbook.add(path, way, names, copy=True).photograph_id for path in paths]
    workbook.ask_again(taken, {workbook.settings_id(number): way for number in taken})


def _named(parts: Parts, name: str) -> MeasuredPhoto:
    return next(p for p in parts.photos if base_name(p.path) == name)


def _camera_checks(file: CameraFile, known: dict[str, Any]) -> Iterator[Check]:
    """The chart's light, and the middle of each channel's sensitivities."""
    low, high = file.obtained["light_kelvin_interval"]
    yield Check("chart, light", file.obtained["light_kelvin"], low, high, known["light_kelvin"], "K")
    middles, reach = file.sensitivities.middles()
    for channel, middle, far in zip(("red", "green", "blue"), middles.tolist(), reach.tolist(), strict=True):
        truth = known["channel_middle_nm"][channel]
        yield Check(f"chart, {channel} channel's middle", middle, middle - far, middle + far, truth, "nm")


def _colour_checks(photo: MeasuredPhoto, answers: dict[str, Any], where: str = "") -> Iterator[Check]:
    for known in answers["side_by_side"]["samples"]:
        sample = photo.sample(known["name"])
        if sample is None:
            continue
        name = f"{known['name']}{where}"
        for i, axis in enumerate(("u_prime", "v_prime")):
            yield Check(f"{name} {axis[0]}′", *_along(sample, i), known[axis])
        low, high = sample.dominant_wavelength_interval_nm or (None, None)
        found, truth = sample.dominant_wavelength_nm, known["dominant_wavelength_nm"]
        yield Check(f"{name} dominant wavelength", found, low, high, truth, "nm")


def _along(sample: Sample, axis: int) -> tuple[float | None, float | None, float | None]:
    """One coordinate with its 95 % interval."""
    colour = uncertain_colour(sample)
    if colour is None:
        return None, None, None
    value, reach = float(colour.value[axis]), Z95 * float(colour.covariance[axis, axis]) ** 0.5
    return value, value - reach, value + reach


def _course_checks(course: TimeCourse, known: dict[str, Any]) -> Iterator[Check]:
    for vial in known["vials"]:
        found = course.sample(vial["name"])
        if found is None or found.verdict != "changing":
            continue
        low, high = found.half_time_interval_s or (None, None)
        half, low, high = (None if t is None else t / HOUR_S for t in (found.half_time_s, low, high))
        yield Check(f"{vial['name']} half-time", half, low, high, vial["half_time_h"], "h")
        if vial["stops_at"] > 0:
            low, high = found.stops_at_interval or (None, None)
            yield Check(f"{vial['name']} stops at", found.stops_at, low, high, vial["stops_at"])
        ratio = found.luminance_ratio
        if ratio:
            what = f"{vial['name']} luminance ratio"
            yield Check(what, ratio.value, ratio.low, ratio.high, vial["luminance_ratio"])


def _pair_verdicts(pairs: Sequence[Comparison], answers: dict[str, Any]) -> Iterator[Told]:
    truth = {s["name"]: s for s in answers["side_by_side"]["samples"]}
    for pair in pairs:
        a, b = truth[pair.a.name], truth[pair.b.name]
        apart = ((a["u_prime"] - b["u_prime"]) ** 2 + (a["v_prime"] - b["v_prime"]) ** 2) ** 0.5
        yield Told(f"{pair.a.name} and {pair.b.name}", pair.verdict, f"Δu′v′ {apart:.4f}")


def _course_verdicts(course: TimeCourse, known: dict[str, Any]) -> Iterator[Told]:
    vials = {v["name"]: v for v in known["vials"]}
    for found in course.samples:
        vial = vials.get(found.name, {"model": "none"})
        truly = "does not change" if vial["model"] == "none" else f"changes, {vial['model']}"
        verdict = found.verdict
        if found.model:
            others = [m for m in found.not_excluded if m != found.model]
            verdict += f", {found.model}" + "".join(f" or {m}" for m in others)
        yield Told(found.name, verdict, truly)


def _match_verdicts(found: Sequence[Matches], known: dict[str, Any]) -> Iterator[Told]:
    truth = {s["name"]: s["form"] for s in known["samples"]}
    for sample in (s for matches in found for s in matches.samples):
        yield Told(f"{sample.name} beside known forms", sample.sentence, truth[sample.name])


def _print(checks: Sequence[Check], told: Sequence[Told], report: Path) -> None:
    from glowkin.telling.numbers import with_interval
    from glowkin.telling.tables import Table

    console = plain_console()
    console.print("Sample photographs, rendered; every known answer in them is invented.\n")
    rows = tuple(
        (c.what, with_interval(c.found, (c.low, c.high)), f"{c.known:g}", c.unit, "yes" if c.inside else "NO")
        for c in checks
    )
    heads = ("Figure", "Found (95 % interval)", "Known", "Unit", "Inside")
    print_table(console, Table("Found beside known", heads, rows))
    verdicts = tuple((t.what, t.verdict, t.known) for t in told)
    print_table(console, Table("Verdicts", ("Samples", "Found", "Truly"), verdicts))
    held = sum(c.inside for c in checks)
    console.print(f"{held} of {len(checks)} known answers lie inside their 95 % intervals.")
    console.print(f"Report: {report}", highlight=False, markup=False, soft_wrap=True)
