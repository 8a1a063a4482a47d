"""Render the handbook's good and bad photographs and what glowkin says of them: ``python docs/examples.py``.

Every picture is a pair: on the left as it should be, on the right with one thing wrong. The captions are
what ``glowkin check`` answers to these very files; nothing in them is typed but what was done. Writes
``docs/_static/shooting/*.jpg`` and ``docs/examples.txt``, whose pieces ``docs/shooting.md`` includes.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.scene.develop import Development, developed, jpeg_bytes, write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.faults import Setup, lamp_off_of, sent_by_messenger, with_fault
from glowkin.scene.spectra import band, skewed_band
from glowkin.scene.stage import row_of_vials, with_luminance

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from glowkin.base.checks import ShotCheck
    from glowkin.base.records import MeasuredPhoto
    from glowkin.scene.shot import Shot
    from glowkin.scene.truth import SampleTruth

    Picture = NDArray[np.uint8]

HERE = Path(__file__).parent
CAPTIONS = HERE / "examples.txt"
PICTURES = HERE / "_static" / "shooting"
SIZE, SHOWN, GAP = (900, 560), (450, 280), 8
SEED = 20260504


@dataclass(frozen=True)
class Example:
    """One pair: what was done to the right one, in words and to its setup; ``rendered`` JPEG or raw.

    ``seed`` draws what the fault leaves to chance.
    """

    name: str
    done: str
    bent: Callable[[Setup, np.random.Generator], Setup]
    rendered: bool = False
    seed: int = SEED


def fault(name: str, strength: str = "strong") -> Callable[[Setup, np.random.Generator], Setup]:
    """One of the known faults."""
    return lambda setup, rng: with_fault(setup, name, strength, rng)


def from_afar(setup: Setup, _rng: np.random.Generator) -> Setup:
    """The same samples from eight times as far away."""
    (w, h), k = setup.scene.size_px, 0.12
    shrunk = ((k, 0.0, 0.5 * (1 - k) * w), (0.0, k, 0.5 * (1 - k) * h))
    return replace(setup, scene=replace(setup.scene, placement=shrunk))


def off_centre(setup: Setup, _rng: np.random.Generator) -> Setup:
    """The camera pointing too far to the right."""
    aside = ((1.0, 0.0, -0.21 * setup.scene.size_px[0]), (0.0, 1.0, 0.0))
    return replace(setup, scene=replace(setup.scene, placement=aside))


EXAMPLES = (
    Example("overexposed", "exposed too long", fault("overexposed", "medium")),
    Example("underexposed", "exposed far too briefly", fault("underexposed", "medium")),
    Example("noisy", "ISO far up, the time cut to match", fault("noisy", "medium")),
    Example("out-of-focus", "focused behind the samples", fault("out of focus", "medium")),
    Example("shaken", "taken by hand", fault("shaken", "medium")),
    Example("banding", "a short exposure under a lamp that flickers", fault("flicker banding")),
    Example("hot-spot", "the torch near, and aimed beside the samples", fault("lamp hot spot")),
    Example("vignetting", "a wide open lens, dark towards the corners", fault("vignetting")),
    Example("lamp-violet", "a lamp without a good filter", fault("lamp violet")),
    Example("room-light", "room light left on", fault("room light")),
    Example("paper", "white paper in place of black card", fault("glowing paper", "medium")),
    Example("fogged", "vials straight from the cold", fault("fogged vial"), seed=3),
    Example("tiny", "photographed from far away", from_afar),
    Example("neighbour", "a dim sample close to a bright one", fault("bright neighbour", "weak")),
    Example("edge", "a sample cut by the frame", off_centre),
    Example("balance", "white balance on automatic", fault("automatic white balance"), rendered=True, seed=2),
)


def good(*, rendered: bool = False) -> Setup:
    """Three glowing powders in vials on black cloth: clean lamp, dark room, well exposed."""
    spectra = {
        "red": with_luminance(band(635.0, 80.0), 0.35),
        "green": with_luminance(band(520.0, 60.0), 1.0),
        "blue": with_luminance(skewed_band(462.0, 60.0), 0.3),
    }
    scene = row_of_vials(SIZE, 3, 1, spectra, fill=0.38)
    samples = tuple(replace(s, violet=0.002, glass_violet=0.002) for s in scene.samples)
    scene = replace(
        scene, samples=samples, surroundings_violet=0.0008, halo=0.006, crosslight=0.002, vignetting=0.08,
        lamp_unevenness=0.08,
    )  # fmt: skip
    return Setup(scene, development=Development(), rendered=rendered).metered(0.5)


def picture(shot: Shot, development: Development | None = None) -> Picture:
    """What a screen shows of it: developed by the camera, reduced."""
    import cv2

    return np.asarray(cv2.resize(developed(shot, development), SHOWN, interpolation=cv2.INTER_AREA))


def pair(left: Picture, right: Picture) -> bytes:
    """Both side by side as one JPEG."""
    from PIL import Image

    gap = np.full((SHOWN[1], GAP, 3), 255, np.uint8)
    out = BytesIO()
    Image.fromarray(np.hstack([left, gap, right])).save(out, "JPEG", quality=84, subsampling="4:2:0")
    return out.getvalue()


def checked(setup: Setup, shot: Shot, folder: Path) -> str:
    """Verdict and advice on the file, as glowkin words them."""
    name = folder / ("photo.jpg" if setup.rendered else "photo.dng")
    path = write_jpeg(shot, name, setup.development) if setup.rendered else write_dng(shot, name)
    return said(recipes.check_series([recipes.check(path, Settings())])[0])


def said(check: ShotCheck) -> str:
    """The verdict in italics, then each thing to change as glowkin words it."""
    return " ".join([f"*{check.verdict}*.", *(f"\u201c{a.sentence}\u201d" for a in check.advice)])


def example(one: Example, folder: Path) -> tuple[bytes, str]:
    """Picture and caption of one pair."""
    fine = good(rendered=one.rendered)
    bad = one.bent(fine, np.random.default_rng(one.seed))
    if one.name == "neighbour":
        fine = apart(bad)
    shots = [setup.shoot(np.random.default_rng([SEED, i])) for i, setup in enumerate((fine, bad))]
    left, right = (checked(s, shot, folder) for s, shot in zip((fine, bad), shots, strict=True))
    words = f"**Left**, as it should be: {left} **Right**, {one.done}: {right}"
    pictures = [picture(shot, s.development) for s, shot in zip((fine, bad), shots, strict=True)]
    return pair(*pictures), words


def apart(setup: Setup) -> Setup:
    """The two samples of a neighbour scene as far from each other as the frame allows."""
    w, _ = setup.scene.size_px
    places = (0.22 * w, 0.82 * w)
    samples = tuple(
        replace(s, shape=replace(s.shape, centre_px=(x, s.shape.centre_px[1])))
        for s, x in zip(setup.scene.samples, places, strict=True)
    )
    return replace(setup, scene=replace(setup.scene, samples=samples))


def bracket(folder: Path) -> tuple[bytes, str]:
    """A dim sample 500 times below a bright one: the shortest and the longest of five exposures."""
    fine = good()
    levels = (1.0, 0.05, 0.002)
    samples = tuple(
        replace(s, radiance=with_luminance(s.radiance, level), violet=0.0, glass_violet=0.0)
        for s, level in zip(fine.scene.samples, levels, strict=True)
    )
    scene = replace(fine.scene, samples=samples, surroundings_violet=0.0)
    setups = [replace(fine, scene=scene).metered(0.5).exposed(4.0**k) for k in range(5)]
    shots = [s.shoot(np.random.default_rng([SEED, k])) for k, s in enumerate(setups)]
    paths = [write_dng(shot, folder / f"{k}.dng") for k, shot in enumerate(shots)]
    rows = (
        ("shortest alone", recipes.measure(paths[0])),
        ("longest alone", recipes.measure(paths[-1])),
        ("five together (`--bracket`)", recipes.measure(paths)),
    )
    words = "; ".join(f"{which}: {_measured(photo)}" for which, photo in rows)
    return pair(picture(shots[0]), picture(shots[-1])), (
        f"**Left** the shortest, **right** the longest of five exposures of one scene, two stops apart. "
        f"Measured from the {words}."
    )


def _measured(photo: MeasuredPhoto) -> str:
    """How many samples were measured, and which flags they bear."""
    flags = sorted({flag for s in photo.samples for flag in s.flags})
    coloured = sum(s.u_prime is not None for s in photo.samples)
    return f"{coloured} of 3 samples" + (f", flagged {_code(flags)}" if flags else ", none flagged")


def _code(flags: Iterable[str]) -> str:
    return ", ".join(f"`{flag}`" for flag in flags)


def lamp_off(folder: Path) -> tuple[bytes, str]:
    """A photograph in room light and its lamp-off frame, and what the frame mends."""
    lit = with_fault(good(), "room light", "strong", np.random.default_rng(SEED))
    dark = lamp_off_of(lit, None, "weak")
    shots = [s.shoot(np.random.default_rng([SEED, k])) for k, s in enumerate((lit, dark))]
    photo, frame = (
        write_dng(shot, folder / f"{name}.dng") for shot, name in zip(shots, ("on", "off"), strict=True)
    )
    without, taken_off = recipes.measure(photo), recipes.measure(photo, Settings(lamp_off=(frame,)))
    truths = shots[0].truths
    return pair(picture(shots[0]), picture(shots[1])), (
        f"**Left** with the lamp on, in a room that is not dark; **right** with the lamp off. "
        f"Without the second frame {_off(without, truths)}; with `--lamp-off` {_off(taken_off, truths)}."
    )


def _off(photo: MeasuredPhoto, truths: Sequence[SampleTruth]) -> str:
    """How far the colours are from the known ones, and flags."""
    worst = 0.0
    for sample, truth in zip(photo.samples, truths, strict=True):
        worst = max(worst, float(np.hypot(sample.u_prime - truth.u_prime, sample.v_prime - truth.v_prime)))
    flags = sorted({flag for s in photo.samples for flag in s.flags})
    told = f", flagged {_code(flags)}" if flags else ""
    return f"the worst colour is off by {worst:.3f} in u\u2032v\u2032{told}"


def aloud(name: str, data: bytes, folder: Path) -> str:
    """What glowkin says of a file whose fault no eye sees."""
    path = folder / f"{name}.jpg"
    path.write_bytes(data)
    check = recipes.check_series([recipes.check(path, Settings())])[0]
    return f"<!-- {name} -->\n> {said(check)}\n<!-- end of {name} -->\n"


def pieces(folder: Path) -> Iterator[tuple[str, bytes, str]]:
    """Name, picture (empty where there is nothing to see) and text of each."""
    for one in EXAMPLES:
        data, words = example(one, folder)
        yield one.name, data, figure(one.name, f"left as it should be, right {one.done}", words)
    for name, what, made in (
        ("bracket", "left the shortest and right the longest exposure of a bracket", bracket(folder)),
        ("lamp-off", "left with the lamp on in room light, right with the lamp off", lamp_off(folder)),
    ):
        yield name, made[0], figure(name, what, made[1])
    rng, phone = np.random.default_rng(SEED), good(rendered=True)
    merged = with_fault(phone, "merged frames", "medium", rng)
    yield "night-mode", b"", aloud("night-mode", jpeg_bytes(merged.shoot(rng), merged.development), folder)
    sent = sent_by_messenger(phone.shoot(rng), phone.development)
    yield "messenger", b"", aloud("messenger", sent, folder)


def main() -> None:
    """Write all pictures and captions."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    texts = []
    with tempfile.TemporaryDirectory() as name:
        for name_, data, text in pieces(Path(name)):
            if data:
                (PICTURES / f"{name_}.jpg").write_bytes(data)
            texts.append(text)
    CAPTIONS.write_text("\n".join(texts), "utf-8")


def figure(name: str, what: str, words: str) -> str:
    """One figure between its marks."""
    return f"""<!-- {name} -->
```{{figure}} _static/shooting/{name}.jpg
:alt: Two photographs of glowing samples, {what}.
:width: 100%

{words}
```
<!-- end of {name} -->
"""


if __name__ == "__main__":
    main()
