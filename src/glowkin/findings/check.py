"""Can this photograph be measured? A verdict, and what to change, most important first.

Importance is what a fault may cost in colour, in u'v'. What costs no colour but brightness only comes after;
the kind of file comes last, since it is the same at every shot.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.checks import Advice, ShotCheck
from glowkin.colour.chromaticity import WHITE_UV_PRIME, WHITISH
from glowkin.findings.check_light import light_advice
from glowkin.findings.check_picture import picture_advice

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.look import Look

GOOD, CARE, CANNOT = "good", "usable with care", "cannot be measured"
_MOST = 3
_KIND = "rendered-file"
_BY_CAMERAS = ("JPEG", "HEIC")
"""Files that cameras write themselves, a raw one beside them if they are asked to."""
_OF_EXPOSURE = ("clipped", "underexposed", "noisy", "brightness-range", "no-sample")
_OF_UNEVENNESS = ("lit-by-neighbour", "brightness-range")
_FRAMES = ("frame-left-out", "lamp-off-mismatch")
_OF_FRAMES = (
    "room-light",
    "lamp-leakage",
    "glowing-background",
    "fogged",
    "noisy",
    "underexposed",
    "no-sample",
    *_OF_UNEVENNESS,
)
"""What light that frames leave, or take too much of, is told as; it neither blurs samples nor clips them."""
_SCALED = 0.005
"""What a frame of another exposure costs by itself, in a raw file, where light is in proportion."""
_CARE = 0.003
_NOTHING = 1.0
_HOPELESS = 0.1
"""A 95 % semi-axis in u'v' that spans from one hue to another: such a colour is not told at all."""
_BRIGHT, _LOUD, _CLIPPED = 0.05, 0.01, 0.95


@dataclass(frozen=True)
class CheckedShot:
    """A check of one photograph, all its advice kept, and what comparing it with others takes.

    ``camera`` names the camera and the size of its pictures; ``centres_px`` (n x 2) and ``XYZ`` (n x 3) are
    the samples', ``automatic`` whether the file says that white balance was.
    """

    check: ShotCheck
    camera: str
    automatic: bool | None
    centres_px: Array
    XYZ: Array


def check_look(look: Look) -> CheckedShot:
    """The verdict on one photograph by itself."""
    e, photo = look.evidence, look.evidence.photo
    m, (width, height) = photo.metadata, photo.size_px
    camera = f"{m.make} {m.model}, {photo.kind}, {width} x {height}"
    centres = np.array([f.centre_px for f in e.found]).reshape(-1, 2)
    return CheckedShot(_check(look), camera, m.automatic_white_balance, centres, e.camera.XYZ(e.emitted.mean))


def _check(look: Look) -> ShotCheck:
    photo = look.evidence.photo
    found = [*file_advice(look), *_nothing_found(look), *light_advice(look), *picture_advice(look)]
    room = [round(float(v), 2) if np.isfinite(v) else None for v in look.use.headroom_stops]
    dimmest = look.resolution[int(np.argmin(look.level))] if look.names else np.nan
    return ShotCheck(
        path=str(photo.path),
        verdict=GOOD if measurable(look) else CANNOT,
        advice=tuple(found),
        also=(),
        kind=photo.kind,
        samples=len(look.names),
        headroom_stops=(room[0], room[1], room[2]),
        headroom_is_bound=photo.kind == "rendered",
        resolution_u_prime_v_prime=float(dimmest) if np.isfinite(dimmest) else None,
        taken_at=photo.metadata.taken_at,
        exposure_s=photo.metadata.exposure_s,
        iso=photo.metadata.iso,
        f_number=photo.metadata.f_number,
    )


def concluded(check: ShotCheck, extra: Sequence[Advice] = ()) -> ShotCheck:
    """The check with its advice in order, cut to the three most important, and the verdict that follows."""
    ordered = sorted(
        _causes_first([*check.advice, *extra]), key=lambda a: (a.cause == _KIND, -a.harm_u_prime_v_prime)
    )
    verdict = CARE if any(a.harm_u_prime_v_prime >= _CARE for a in ordered) else GOOD
    if check.verdict == CANNOT or any(a.harm_u_prime_v_prime >= _NOTHING for a in ordered):
        verdict = CANNOT
    also = tuple(dict.fromkeys(a.cause for a in ordered[_MOST:]))
    return replace(check, verdict=verdict, advice=tuple(ordered[:_MOST]), also=also)


def of_bracket(checks: Sequence[ShotCheck]) -> ShotCheck:
    """The check of several exposures of one scene, the shortest of them first.

    Of how much light there was it says only what every exposure suffers, as the one that suffers least: what
    one lacks another makes up for. All else counts that any of them shows.
    """
    by_cause: dict[str, list[Advice]] = {}
    for advice in (a for check in checks for a in check.advice):
        by_cause.setdefault(advice.cause, []).append(advice)
    kept = [
        (min if cause in _OF_EXPOSURE else max)(found, key=lambda a: a.harm_u_prime_v_prime)
        for cause, found in by_cause.items()
        if cause not in _OF_EXPOSURE or len(found) >= len(checks)
    ]
    resolutions = [r for c in checks if (r := c.resolution_u_prime_v_prime) is not None]
    return replace(
        checks[0],
        verdict=GOOD if any(c.verdict != CANNOT for c in checks) else CANNOT,
        advice=tuple(kept),
        samples=max(c.samples for c in checks),
        resolution_u_prime_v_prime=min(resolutions, default=None),
    )


def _causes_first(found: Sequence[Advice]) -> list[Advice]:
    """Causes come before what follows from them: uneven light makes dim samples dimmer, and with wrong frames
    too much light is left, or too little.
    """
    uneven = [a for a in found if a.cause in ("lamp-hot-spot", "vignetting") and (a.value or 0.0) >= 1.0]
    found = _above(found, uneven, _OF_UNEVENNESS)
    return _above(found, [a for a in found if a.cause in _FRAMES], _OF_FRAMES)


def _above(found: Sequence[Advice], causes: Sequence[Advice], follow: Sequence[str]) -> list[Advice]:
    """These causes ranked above whatever may follow from them."""
    most = max((a.harm_u_prime_v_prime for a in found if a.cause in follow), default=0.0) + 0.001
    raised = [replace(a, harm_u_prime_v_prime=max(most, a.harm_u_prime_v_prime)) for a in causes]
    return [*raised, *(a for a in found if a not in causes)]


def measurable(look: Look) -> bool:
    """Whether the colour of any sample found is told at all: unclipped, and not lost in noise."""
    return not look.names or bool((look.resolution < _HOPELESS).any())


def file_advice(look: Look) -> Iterator[Advice]:
    """What the file tells, or no longer tells, of how it was made."""
    photo, flags = look.evidence.photo, look.evidence.flags
    m = photo.metadata
    for wrong in look.evidence.left_out:
        yield Advice("frame-left-out", wrong.sentence, (), None, None, 0.06)
    for amiss in look.evidence.unfit:
        harm = _SCALED if amiss.scaled else 0.06
        yield Advice("lamp-off-mismatch", amiss.sentence, (), None, None, harm)
    if "shows-a-chart" in flags:
        sentence = (
            "Samples that glow: this is a colour chart, and lit patches are none; glowkin camera fit makes a "
            "camera file of it."
        )
        yield Advice("shows-a-chart", sentence, (), None, None, _NOTHING)
    if "edited-file" in flags:
        sentence = "The file as the camera wrote it: an editing program saved this one."
        yield Advice("edited-file", sentence, (), None, None, 0.04)
    if "merged-by-phone" in flags:
        sentence = "Night mode and merging of frames off: levels are no longer proportional to light."
        yield Advice("merged-by-phone", sentence, (), None, None, 0.05)
    if photo.kind == "raw":
        return
    if not m.make and not m.model and m.exposure_s is None and m.iso is None:
        sentence = (
            "The camera's own file, copied by cable or card: this copy has lost exposure, time and white "
            "balance, as those sent by messengers have."
        )
        yield Advice("metadata-stripped", sentence, (), None, None, 0.035)
    elif "automatic-white-balance" in flags:
        why = "it was automatic" if m.automatic_white_balance else "the file does not say that it was"
        sentence = (
            f"White balance fixed to daylight, or raw: {why}, so colours are shifted by an unknown amount."
        )
        yield Advice("automatic-white-balance", sentence, (), None, None, 0.03)
    yield Advice(_KIND, _kind_words(look), (), None, None, 0.02)


def _kind_words(look: Look) -> str:
    cut = [n for n, zero in zip(look.names, look.evidence.emitted.at_zero, strict=True) if zero.max() > 0.2]
    lies = "lies" if len(cut) == 1 else "lie"
    beyond = f"; {', '.join(cut)} {lies} beyond its colour space" if cut else ""
    container = look.evidence.photo.container
    who, mend = "the camera's own development", f"Raw (DNG) beside the {container}"
    if container not in _BY_CAMERAS:
        who, mend = "its development", f"The camera's raw file (DNG) instead of this {container}"
    return f"{mend}: {who} has changed the colours by an unknown amount{beyond}."


def _nothing_found(look: Look) -> Iterator[Advice]:
    """No sample: too dark to see one, or nothing there."""
    if not look.nothing:
        return
    hidden = look.dark_noise.max() > 0.2 * np.median(look.frame.linear.max(axis=2))
    if look.dark_noise.max() > _LOUD and hidden:
        iso = look.evidence.photo.metadata.iso
        mend = f"Lower ISO{f' than {iso:g}' if iso else ''}, and a longer exposure"
        amount = float(100 * look.dark_noise.max())
        sentence = f"{mend}: noise of {amount:.1f} % of the scale hides whatever is there."
        yield Advice("noisy", sentence, (), round(amount, 1), "%", 1.2 * _NOTHING)
    frame = look.frame
    level = frame.linear.max(axis=2)
    middle, top = (float(v) for v in np.quantile(level[::2, ::2], (0.5, 0.9995)))
    noise = float(np.sqrt(look.noise.floor.max()))
    if max(1.5 * frame.faintest, 0.001) < top < 0.05 and top - middle > 8.0 * noise:
        stops = float(np.log2(0.6 / top))
        sentence = (
            f"{stops:.1f} stops more exposure: the brightest spot reaches {100 * top:.2g} % of the scale, "
            "too dark to tell a sample."
        )
        yield Advice("underexposed", sentence, (), round(stops, 1), "stops", 1.1 * _NOTHING)
    sentence = (
        "A sample that glows, in a dark room, or outlines drawn by hand (--outlines): nothing stands out "
        "from its surroundings."
    )
    yield Advice("no-sample", sentence, (), None, None, _NOTHING)
    yield from _lit_all_over(look, top)


def _lit_all_over(look: Look, top: float) -> Iterator[Advice]:
    """Where no sample was found, whether that is because everything is bright."""
    level = np.median(look.frame.linear.reshape(-1, 3), axis=0).astype(float)
    if level.max() < max(_BRIGHT, 0.1 * top):
        return
    if level.max() > _CLIPPED:
        sentence = (
            "Less exposure, and a darker room: half of the picture is clipped, and what lies in it is lost."
        )
        yield Advice("clipped", sentence, (), None, None, 1.1 * _NOTHING)
        return
    uv = look.evidence.camera.infer(level[None], np.zeros((1, 3, 3))).uv_prime[0]
    amount = f"half of the picture is brighter than {100 * level.max():.0f} % of the scale"
    if np.hypot(*(uv - WHITE_UV_PRIME)) < WHITISH:
        yield Advice("room-light", f"A darker room: {amount}, in white light.", (), None, None, 0.9)
        return
    mend = "Matt black card that stays dark under the lamp, and a cleaner lamp filter"
    yield Advice("glowing-background", f"{mend}: {amount}, in one colour.", (), None, None, 0.9)
