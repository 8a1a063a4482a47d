"""The report's sentences: what was found, how it was measured, and what to be careful of."""

from __future__ import annotations

from collections import Counter
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.clocks import EITHER, ELAPSED, LAMP_ON
from glowkin.base.uncertainty import ellipse_95
from glowkin.telling.naming import base_name, by_storage, gathered
from glowkin.telling.numbers import at_least, durations, significant, with_interval
from glowkin.telling.provenance import camera_words
from glowkin.telling.strip import beginnings_words
from glowkin.telling.tables import half_time, pair_name, stop_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.clocks import Bleaching
    from glowkin.base.matches import Matches, SampleMatch
    from glowkin.base.records import Comparison, MeasuredPhoto, SampleCourse, TimeCourse
    from glowkin.base.references import ReferenceRead
    from glowkin.telling.provenance import FlagRow

MOST_PAIRS = 6
MOST_MATCHES = 8
AUTOMATIC = {"rendered-file", "automatic-white-balance"}


def summary(
    photos: Sequence[MeasuredPhoto],
    pairs: Sequence[Comparison],
    course: TimeCourse | None,
    errors: Sequence[dict[str, Any]] = (),
    matches: Sequence[Matches] = (),
    most_pairs: int | None = None,
) -> list[str]:
    """What was measured and what came out, a sentence each; ``most_pairs`` is what the table shows."""
    out = [_measured(photos), *support_words(photos), *references_words(photos)] if photos else []
    out += _of_course(course) if course else []
    out += _differences(pairs, most_pairs)
    out += _matched([s for m in matches for s in m.samples])
    if errors:
        names = ", ".join(base_name(str(e.get("path", "?"))) for e in errors)
        out.append(f"Could not be measured: {names}.")
    return out


def _measured(photos: Sequence[MeasuredPhoto]) -> str:
    coloured = [(s.name, s.u_prime is not None) for p in photos for s in p.samples]
    without = sum(not colour for _, colour in coloured)
    names = len({name for name, _ in coloured})
    cameras = ", ".join(dict.fromkeys(camera_words(p) for p in photos))
    text = f"{_count(names, 'sample')} in {_count(len(photos), 'photograph')}, camera description: {cameras}."
    if without:
        text += f" {_count(without, 'reading')} gave no colour, because nothing in it was fit to measure."
    return text


def support_words(photos: Sequence[MeasuredPhoto]) -> list[str]:
    """How little files support that an unknown camera developed with automatic white balance: a sentence, in
    the figures of these very photographs; none where there is no such file.
    """
    files, seen = list[str](), list[float]()
    for photo in photos:
        if photo.camera.basis == "generic" and set(photo.flags) >= AUTOMATIC:
            files.append(photo.path)
            known = [C for s in photo.samples if (C := s.u_prime_v_prime_covariance)]
            seen += [float(ellipse_95(np.array(C))[0]) for C in known]
    if not seen:
        return []
    axis = median(seen)
    who = base_name(files[0]) if len(files) == 1 else f"{len(files)} photographs"
    support, it, gives = ("supports", "it", "gives") if len(files) == 1 else ("support", "they", "give")
    return [
        f"{who} {support} little: developed by a camera unknown to us, with white balance automatic, {it} "
        f"{gives} colours to {significant(axis)} in u′v′ (semi-axis of the 95 % region, median of "
        f"{_count(len(seen), 'reading')}), and colours of two such photographs pass for different only when "
        f"about {significant(2**0.5 * axis)} apart."
    ]


def references_words(photos: Sequence[MeasuredPhoto]) -> list[str]:
    """What the reference glows say, a sentence each; of a series how many agree, and the farthest."""
    seen: dict[tuple[str, str], list[ReferenceRead]] = {}
    for read in (r for photo in photos for r in photo.references):
        seen.setdefault((read.sample, read.glow), []).append(read)
    return [_reference(reads) for reads in seen.values()]


def _reference(reads: Sequence[ReferenceRead]) -> str:
    far = max(reads, key=lambda r: r.deviation_u_prime_v_prime / r.allowed_u_prime_v_prime)
    apart, allowed = (significant(v) for v in (far.deviation_u_prime_v_prime, far.allowed_u_prime_v_prime))
    agree = sum(not r.off for r in reads)
    moved = all(r.recentred for r in reads)
    use = "the camera was re-centred by it" if moved else "the camera was left as it is"
    who = f"Reference {far.sample} ({far.glow})"
    if len(reads) == 1:
        said = "as expected" if agree else "off"
        return f"{who}: {said}, {apart} in u′v′ from its known colour where errors allow {allowed}; {use}."
    return (
        f"{who}: as expected in {agree} of {len(reads)} photographs, at most {apart} in u′v′ from its known "
        f"colour where errors allow {allowed}; {use}."
    )


def _count(n: int, thing: str) -> str:
    return f"{n} {thing}" if n == 1 else f"{n} {thing}s"


def _changes(course: TimeCourse) -> list[str]:
    return [_change(condition, vials) for condition, vials in by_storage(course.samples).items()]


def _of_course(course: TimeCourse) -> list[str]:
    told = clock_words(course), bleaching_words(course), beginnings_words(course)
    return [*_changes(course), *(words for group in told for words in group)]


def clock_words(course: TimeCourse) -> list[str]:
    """Which samples change by the lamp rather than by the hours, and for which that cannot be told."""
    by: dict[str, list[str]] = {}
    for s in course.samples:
        if s.clock is not None:
            by.setdefault(s.clock.explains, []).append(s.name)
    least = any(s.clock.told_by == "exposure" for s in course.samples if s.clock)
    floor = " (of the lamp only exposures are known, the least it was on)" if least else ""
    said = {
        LAMP_ON: "explained better by lamp-on time than by elapsed time: the light drives the change",
        ELAPSED: "explained better by elapsed time than by lamp-on time",
        EITHER: "whether elapsed or lamp-on time explains the change cannot be told",
    }
    return [
        f"{gathered(by[clock], course.samples)}: {words}{floor}."
        for clock, words in said.items()
        if clock in by
    ]


def bleaching_words(course: TimeCourse) -> list[str]:
    """How much light each fading control lost, and whether that was bleaching."""
    return [_bleached(b) for b in course.bleaching]


def _bleached(b: Bleaching) -> str:
    low, high = (100.0 * (1.0 - left) for left in b.left_interval[::-1])
    lost = with_interval(100.0 * (1.0 - b.left), (low, high))
    why = (
        "against the reference glow, so it bleached; the curve was divided out of the samples"
        if b.told_from_lamp
        else "by bleaching or a weakening lamp, which look alike without a reference glow; it was divided out"
    )
    return f"{b.control} lost {lost} % of its light over {b.clock}, {why}."


def _change(condition: str, vials: Sequence[SampleCourse]) -> str:
    """One storage condition: its verdicts and how long its vials took."""
    who = condition if len(vials) == 1 else f"{condition} ({len(vials)} vials)"
    verdicts = Counter(v.verdict for v in vials)
    said = ", ".join(v if n == len(vials) else f"{v} in {n}" for v, n in verdicts.items())
    if len(vials) == 1:
        bound = vials[0].half_time_s is not None or vials[0].longer_than_s is not None
        stop = f", then {left} left" if (left := stop_words(vials[0])) else ""
        return f"{who}: {said}; half-time {half_time(vials[0])}{stop}." if bound else f"{who}: {said}."
    return f"{who}: {said}{_times(vials)}."


def _times(vials: Sequence[SampleCourse]) -> str:
    times = [(v.half_time_s, v.half_time_interval_s) for v in vials if v.half_time_s]
    bounds = [v.longer_than_s for v in vials if v.longer_than_s is not None]
    stops = [f"{v.name} {stop}" for v in vials if (stop := stop_words(v))]
    text = f"; half-times {durations(times)}" if times else ""
    text += f"; stops with part left: {', '.join(stops)}" if stops else ""
    return text + (f"; half-time longer than {at_least(min(bounds))} in each" if bounds and not times else "")


def _differences(pairs: Sequence[Comparison], most: int | None) -> list[str]:
    several = len({place.path for c in pairs for place in (c.a, c.b)}) > 1
    if len(pairs) <= MOST_PAIRS:
        return [_difference(c, several) for c in pairs]
    counts = Counter(c.verdict for c in pairs)
    said = ", ".join(f"{verdict} {n}" for verdict, n in counts.most_common())
    has = f"the first {most} of {len(pairs)}" if most is not None and most < len(pairs) else "each"
    return [f"{len(pairs)} comparisons: {said}; the table has {has}."]


def _difference(c: Comparison, several: bool) -> str:
    size = with_interval(c.delta_u_prime_v_prime, c.delta_u_prime_v_prime_interval)
    return f"{pair_name(c, several)}: {c.verdict}, Δu′v′ {size}."


def _matched(samples: Sequence[SampleMatch]) -> list[str]:
    """Samples beside known forms: each of a few, of many how many have which verdict."""
    if len(samples) <= MOST_MATCHES:
        several = len({s.path for s in samples}) > 1
        return [
            f"{s.name}{f' in {base_name(s.path)}' if several else ''} beside known forms: {s.sentence}."
            for s in samples
        ]
    counts = Counter(s.verdict for s in samples)
    said = ", ".join(f"{verdict} {n}" for verdict, n in counts.most_common())
    return [f"{len(samples)} colours beside known forms: {said}. A colour does not prove identity."]


def largest_caution(rows: Sequence[FlagRow], photos: Sequence[MeasuredPhoto]) -> str:
    """What most endangers the conclusions, and the mend."""
    if rows:
        return f"{rows[0].flag.sentence} {rows[0].flag.mend} Raised by: {rows[0].where}."
    if any(p.camera.basis == "generic" for p in photos):
        return (
            "The camera is known only as a camera of the usual kind; its share is in the intervals. "
            "A camera file from a chart makes them narrower."
        )
    return "A colour does not prove identity: samples of equal colour may differ in substance."


def method(
    photos: Sequence[MeasuredPhoto], course: TimeCourse | None, matches: Sequence[Matches] = ()
) -> list[str]:
    """How the figures were come by, a paragraph each."""
    out = [_LIGHT, *(_by_kind(photos)), _MEANS, _COLOUR, *_by_camera(photos), _UNCERTAINTY, _EMISSION]
    out += [_REFERENCE] if any(p.references for p in photos) else []
    out += [_MATCH] if matches else []
    return [*out, *(_TIME if course else ())]


_LIGHT = (
    "Every photograph was decoded once to linear light. Clipped pixels, edges and glare were left out. Each "
    "sample is one mean of its pixels in linear light; colour was computed from the mean, not averaged over "
    "pixels."
)
_MEANS = (
    "The covariance of a mean comes from block variance, since neighbouring pixels are correlated. "
    "Unevenness within a sample is kept apart from the error of its mean."
)
_COLOUR = (
    "Chromaticity was computed from the three channel means with the colour description of the camera named "
    "below. Stray light was estimated from the surroundings and carried as error. Dominant wavelength and "
    "purity refer to the white point named below, the line from it being intersected with the interpolated "
    "spectrum locus."
)
_UNCERTAINTY = (
    "All intervals are 95 %. They hold noise, unevenness, stray light and camera; what two samples "
    "have in common cancels in their difference. Intervals of differences and chances come from draws (JCGM "
    "101:2008), other figures by first-order propagation (JCGM 102:2011). No figure is printed to more "
    "digits than its interval supports."
)
_EMISSION = (
    "The samples emit light. For stimuli seen as emitting only u′v′ chromaticity, hue and saturation apply "
    "(ISO/CIE 11664-5), so the difference in u′v′ decides. A colour is consistent with a substance or form; "
    "it does not prove it. Ultraviolet sees the outermost micrometres, which may change before the bulk "
    "does."
)
_REFERENCE = (
    "A sample of known emission in the frame was the reference: what the camera shows of it was compared "
    "with what it is known to emit, the error of both counted, and the camera's description was moved and "
    "narrowed as far as the reference tells; one that is off moves nothing. In a series the reference's "
    "light steadies the lamp, and its colour is checked in every photograph."
)
_MATCH = (
    "Samples were set beside known forms by Bayes' theorem over these answers: each form alone, every two of "
    "them mixed, and none of them, for which the colours of a broad range of emission spectra stand. Errors "
    "of sample and form were combined, those they share cancelling; batches of a form may differ. "
    "Light adds, so the chromaticity of a mixture lies on the straight line between those of the forms; the "
    "share given is one of light, not of amount."
)
_TIME = (
    "Over time, the two forms were unmixed in linear light, where they add; the path on the diagram only "
    "tests whether two forms suffice. Light is not amount: the share of light was turned into amount by the "
    "luminance ratio where that is known, and only light is reported where it is not.",
    "Rate models were compared by the corrected Akaike criterion (AICc), each of them also after "
    "an induction, and stopping part-way where the fully converted form was known; intervals span all "
    "models with any support. See Vyazovkin et al., Thermochimica Acta 520 (2011) 1. A model that "
    "fits best is not thereby the mechanism.",
)


def _by_kind(photos: Sequence[MeasuredPhoto]) -> list[str]:
    kinds = {p.kind for p in photos}
    raw = (
        "Raw files: mosaic less black level, averaged per colour of the filter array, never clipped at black."
    )
    rendered = (
        "Files developed by the camera: the transfer curve of the file's own profile was undone, its own "
        "matrix applied, and the profile's adaptation to D50 undone. What the camera did before that is "
        "unknown and widens the interval."
    )
    return [text for kind, text in (("raw", raw), ("rendered", rendered)) if kind in kinds]


_BASES = {
    "generic": (
        "No calibration of this camera was given: a generic camera error, from measured sensitivities of "
        "many cameras, is part of every interval."
    ),
    "chart": "The camera's sensitivities were inferred from a photograph of a colour chart.",
    "chart-and-lights": ("The camera's sensitivities were inferred from a chart and lights of known peak."),
    "sensitivities": "The camera's measured spectral sensitivities were used.",
}


def _by_camera(photos: Sequence[MeasuredPhoto]) -> list[str]:
    bases = dict.fromkeys(p.camera.basis for p in photos)
    return [_BASES[b] for b in bases if b in _BASES]


SAFETY = (
    "Ultraviolet light hurts eyes and skin. Wear eyewear rated for the lamp in use, gloves and sleeves; "
    "look neither into the lamp nor at its reflection; keep others out of the beam.",
    "Solvents, bromides, manganese dust and volatile ligands are harmful: work with ventilation, and "
    "collect metal waste. Sealed vials build up pressure.",
    "The lamp's instructions, local codes, and licensed or supervised practice come before this page. "
    "Nothing in it is a permission, and no figure in it says that an exposure is safe.",
)


def left_out(photo: MeasuredPhoto) -> str:
    """What was seen and not taken for a sample, the commonest reason first; empty where there is nothing."""
    from collections import Counter

    counted = Counter(rejected.reason for rejected in photo.rejected).most_common()
    return "; ".join(f"{n} because {reason}" for reason, n in counted)
