"""The report: one HTML file that needs nothing else and tells nothing about where it was made."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from glowkin.telling import drawing, provenance, study_page, tables, wording
from glowkin.telling.diagram import chromaticity_diagram
from glowkin.telling.fractions_table import fractions_tables
from glowkin.telling.mass_figure import mass_against_light
from glowkin.telling.match_table import matched_photographs, matches_table
from glowkin.telling.models_table import models_table
from glowkin.telling.naming import base_name, public_names, without_folders
from glowkin.telling.numbers import NOTHING
from glowkin.telling.picture import annotated_photograph, swatches
from glowkin.telling.previews import data_uri, jpeg, pixels_of
from glowkin.telling.progress import fraction_against_time, pages
from glowkin.telling.spots import MOST_DRAWN, outside_series
from glowkin.telling.storage_table import storages_table
from glowkin.telling.strip import begins_words, map_pages, map_strip, strip_caption

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from markupsafe import Markup
    from matplotlib.figure import Figure

    from glowkin.base.maps import FractionMap
    from glowkin.base.matches import Matches
    from glowkin.base.preparations import MassCourse
    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
    from glowkin.telling.previews import Preview
    from glowkin.telling.study_told import RoomLight, StudyTold

MOST_PHOTOGRAPHS = 4
"""More than that and the report shows the first and the last."""


@dataclass(frozen=True)
class Shown:
    """A figure as it stands on the page, and one that belongs ``beside`` it."""

    body: Markup
    caption: str
    beside: Shown | None = None


def build_report(
    photos: Sequence[MeasuredPhoto],
    pairs: Sequence[Comparison] = (),
    course: TimeCourse | None = None,
    previews: Mapping[str, Preview] | None = None,
    settings: Mapping[str, Any] | None = None,
    program: str = "glowkin",
    versions: Mapping[str, str] | None = None,
    errors: Sequence[dict[str, Any]] = (),
    title: str = "Colours of glowing samples",
    maps: Mapping[str, Sequence[FractionMap]] | None = None,
    matches: Sequence[Matches] = (),
    study: StudyTold | None = None,
) -> str:
    """The report as HTML text; on a whole study, with what that tells beyond its measurements.

    ``previews`` are small pictures (JPEG or PNG bytes, or uint8 RGB arrays) by the photograph's path; they
    are made anew from their pixels. Paths are cut to file names, and every text is escaped.
    """
    noticed = provenance.flag_rows(photos, course, pairs)
    most = study.most_pairs if study else None
    summary = wording.summary(photos, pairs, course, errors, matches, most)
    caution = wording.largest_caution(noticed, photos)
    html: str = _template().render(
        title=title,
        program=program,
        summary=summary,
        caution=caution,
        study=study
        and study_page.parts(study, photos, course, summary, caution, program, versions or {}, _mass_figure),
        course=[tables.without_empty(t) for t in _course_tables(course, study)],
        course_figures=_course_figures(photos, course, maps or {}),
        pairs=tables.pairs_table(pairs, most) if pairs else None,
        matches=[
            (matches_table(m, tables.MOST_ROWS), _match_figures(photos, m, i)) for i, m in enumerate(matches)
        ],
        samples=_samples_tables(photos, course, "the study" if study else "samples.csv"),
        photo_figures=_photo_figures(
            shown_photographs(photos, course), previews or {}, study.room_light if study else {}
        ),
        diagrams=_diagrams(outside_series(photos, course)),
        flags=noticed,
        method=wording.method(photos, course, matches),
        settings=_settings(photos, course, settings or {}, versions or {}),
        files=provenance.photos_table(photos, public_names(p.path for p in photos)) if photos else None,
        errors=[_error(e) for e in errors],
        safety=wording.SAFETY,
    )
    return html


def _template() -> Any:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("glowkin.telling")
    environment = Environment(autoescape=True, loader=loader, undefined=StrictUndefined, trim_blocks=True)
    return environment.get_template("report.html")


def _course_tables(course: TimeCourse | None, study: StudyTold | None) -> list[tables.Table]:
    if course is None:
        return []
    fractions = fractions_tables(course, study.course_in if study else "course.csv")
    stored = [storages_table(course)] if course.storages else []
    ratios = [tables.ratios_table(course)] if course.comparisons or course.storage_comparisons else []
    models = [models_table(course)] if any(s.models for s in course.samples) else []
    return [tables.courses_table(course), *fractions, *stored, *ratios, *models]


def _samples_tables(
    photos: Sequence[MeasuredPhoto], course: TimeCourse | None, all_in: str
) -> list[tables.Table]:
    """One table of a few samples; of many one for each photograph pictured, what it means told once."""
    if sum(len(p.samples) for p in photos) <= tables.MOST_ROWS:
        return [tables.samples_table(photos)] if photos else []
    shown = shown_photographs(photos, course)
    each = [tables.samples_table([p]) for p in shown]
    few = f"The photographs pictured are shown; {all_in} holds all of them. "
    note = (few if len(shown) < len(photos) else "") + max((t.note for t in each), key=len)
    return [*(replace(t, note="") for t in each[:-1]), replace(each[-1], note=note)]


def _settings(
    photos: Sequence[MeasuredPhoto],
    course: TimeCourse | None,
    settings: Mapping[str, Any],
    versions: Mapping[str, str],
) -> list[tuple[str, str]]:
    """What was chosen or assumed, then the versions of everything that computed."""
    own: dict[str, Any] = {
        "white point": ", ".join(dict.fromkeys(f"{p.white_point} (x {p.white_point_xy[0]:.4f}, "
                                               f"y {p.white_point_xy[1]:.4f})" for p in photos)),
        "observer": ", ".join(dict.fromkeys(observer_words(p.observer) for p in photos)),
    }  # fmt: skip
    if course is not None:
        own["time zero"] = course.start or "the first photograph"
        own["control"] = course.control or "none"
    told = {k.replace("_", " ") for k in own}
    given = {k: v for k, v in settings.items() if k.replace("_", " ") not in told}
    used = {"versions": ", ".join(f"{name} {version}" for name, version in versions.items())}
    return provenance.settings_rows({**own, **given, **used})


def observer_words(observer: int) -> str:
    """The observer by its full name."""
    return "CIE 1964, 10°" if observer == 10 else "CIE 1931, 2°"


def _error(error: Mapping[str, Any]) -> str:
    path, message = str(error.get("path", "")), str(error.get("message", ""))
    return (
        f"{base_name(path)}: {without_folders(message.replace(path, base_name(path)) if path else message)}"
    )


def _inline(fig: Figure, prefix: str, label: str, caption: str) -> Shown:
    """A figure as SVG with words for those who cannot see it."""
    from markupsafe import Markup, escape

    said = f'<svg role="img" aria-label="{escape(label)}" '
    return Shown(Markup(drawing.svg(fig, prefix).replace("<svg ", said, 1)), caption)  # noqa: S704 - our own drawing


def shown_photographs(
    photos: Sequence[MeasuredPhoto], course: TimeCourse | None = None
) -> Sequence[MeasuredPhoto]:
    """The photographs that are pictured: all of a few, the first and the last of many, or of a series."""
    if len(photos) <= MOST_PHOTOGRAPHS:
        return photos
    apart = outside_series(photos, course)
    if len(apart) < len(photos):
        paths = {p.path for p in apart}
        first, last = (next(p for p in row if p.path not in paths) for row in (photos, reversed(photos)))
        return [*shown_photographs(apart), first, last]
    return [photos[0], photos[-1]]


def _photo_figures(
    photos: Sequence[MeasuredPhoto], previews: Mapping[str, Preview], room_light: Mapping[str, RoomLight]
) -> list[Shown]:
    """Each photograph beside the one in room light, or beside its swatches."""
    out: list[Shown] = []
    for i, photo in enumerate(photos):
        row = [_swatches(photo, f"swatches{i}")]
        if photo.path in previews:
            room = _in_room_light(room_light.get(photo.path))
            beside = room or row.pop()
            row.insert(0, replace(_picture(photo, previews[photo.path]), beside=beside))
        out += row
    return out


def _picture(photo: MeasuredPhoto, preview: Preview) -> Shown:
    """The annotated photograph as one JPEG: a drawing over an inlined picture would be many times larger."""
    from markupsafe import Markup

    fig = annotated_photograph(photo, pixels_of(preview))
    source = data_uri(jpeg(pixels_of(drawing.png(fig, dpi=220))))
    name = base_name(photo.path)
    names = ", ".join(s.name for s in photo.samples) or "no sample found"
    alt = f"Photograph {name} with outlines of the samples: {names}."
    body = Markup('<img src="{}" alt="{}">').format(source, alt)
    caption = f"{name}, a small copy; the outlines are those that were measured."
    left_out = wording.left_out(photo)
    return Shown(body, f"{caption} Dotted, and not measured: {left_out}." if left_out else caption)


def _in_room_light(room: RoomLight | None) -> Shown | None:
    """The same samples in room light, as the camera developed them; nothing is measured on it."""
    from markupsafe import Markup

    if room is None:
        return None
    source = data_uri(jpeg(pixels_of(room.picture)))
    body = Markup('<img src="{}" alt="{}">').format(source, f"The same samples in room light, {room.name}.")
    caption = (
        f"Room light, not measured: {room.name}, a small copy of the whole frame. SHA-256 {room.sha256}."
    )
    return Shown(body, caption)


def _mass_figure(course: MassCourse, prefix: str) -> Shown:
    label = f"Mass and light of {course.sample} against time. {course.sentence}"
    caption = "Converted by mass (filled) and by light (open), with 95 % bars; right, the change of mass."
    return _inline(mass_against_light(course), prefix, label, caption)


def _swatches(photo: MeasuredPhoto, prefix: str) -> Shown:
    name = base_name(photo.path)
    label = f"Colour swatches of the samples in {name}; the figures are in the table of samples."
    caption = (
        "Screen colours are approximations: what lies outside the display's gamut is mixed with white until "
        "it fits, and hatched. Brightness is not shown. Measure from the table, not from these."
    )
    return _inline(swatches(photo), prefix, label, caption)


def _diagrams(photos: Sequence[MeasuredPhoto]) -> list[Shown]:
    if not photos:
        return []
    label = f"chromaticity diagram. {_positions(photos)}"
    uniform = (
        "CIE 1976 u′v′, the diagram in which distances are compared. Ellipses hold 95 %; + is the white "
        "point; the dashed line joins the ends of the spectrum. The inside is left white: no screen or "
        "paper shows these colours."
    )
    older = "CIE 1931 xy, for comparison with older papers. Same samples and 95 % regions; distances mislead."
    return [
        _inline(chromaticity_diagram(photos, "1976"), "uv", f"CIE 1976 {label}", uniform),
        _inline(chromaticity_diagram(photos, "1931"), "xy", f"CIE 1931 {label}", older),
    ]


def _match_figures(photos: Sequence[MeasuredPhoto], matches: Matches, number: int) -> list[Shown]:
    among = matched_photographs(matches, photos)
    if not among:
        return []
    said = "; ".join(f"{s.name}: {s.sentence}" for s in matches.samples)
    caption = (
        "Samples and known forms (hollow, dashed: 95 % of what batches of the form may look like) on the CIE "
        "1976 diagram. A grey line joins forms that a sample may be a mixture of: mixtures lie on it."
    )
    diagram = chromaticity_diagram(among, "1976", matches=matches)
    return [_inline(diagram, f"match{number}", f"Samples beside known forms. {said}.", caption)]


def _positions(photos: Sequence[MeasuredPhoto]) -> str:
    rows = tables.samples_table(photos)
    u, v = rows.heads.index("u′"), rows.heads.index("v′")
    return "; ".join(f"{r[0]} at u′ {r[u]}, v′ {r[v]}" for r in rows.rows if r[u] != NOTHING) + "."


def _course_figures(
    photos: Sequence[MeasuredPhoto], course: TimeCourse | None, maps: Mapping[str, Sequence[FractionMap]]
) -> list[Shown]:
    if course is None or not course.samples:
        return []
    out = [_fractions(part, course, f"time{i}") for i, part in enumerate(pages(course))]
    strips = [_maps(page, course, f"maps{i}") for i, page in enumerate(map_pages(maps))]
    alike = [i > 0 and s.caption == strips[i - 1].caption for i, s in enumerate(strips)]
    out += [replace(s, caption=_AS_ABOVE) if same else s for s, same in zip(strips, alike, strict=True)]
    label = "CIE 1976 chromaticity diagram with the path of each storage condition through its photographs."
    caption = (
        "The way each condition has gone on the CIE 1976 diagram: small markers are photographs, arrow "
        "heads point on in time, the large marker is the last photograph, the number in brackets counts the "
        "vials. Grey: the 95 % ellipse of one vial of each condition at the last photograph."
    )
    return [*out, _inline(chromaticity_diagram(photos, "1976", course), "path", label, caption)]


_AS_ABOVE = "More samples; to be read as the strip above."


def _maps(page: Mapping[str, Sequence[FractionMap]], course: TimeCourse, prefix: str) -> Shown:
    said = "; ".join(f"{s.name} {begins_words(s.map)}" for s in course.samples if s.name in page)
    label = f"Maps of how far each sample has changed where. {said}."
    return _inline(map_strip(page, course), prefix, label, strip_caption(page))


def _fractions(part: TimeCourse, whole: TimeCourse, prefix: str) -> Shown:
    said = "; ".join(f"{s.name}: {s.verdict}, half-time {tables.half_time(s)}" for s in part.samples)
    caption = (
        "Amount left in the starting form (where marked: its share of the light), with 95 % bars where they "
        "exceed the marker, and the best model as a line. One marker shape for each vial."
    )
    most = max((len(s.points) for s in part.samples), default=0)
    if most > MOST_DRAWN:
        caption += f" Of {most} photographs {MOST_DRAWN} are drawn, evenly spread; the records hold all."
    return _inline(fraction_against_time(part, whole), prefix, f"Fraction against time. {said}.", caption)
