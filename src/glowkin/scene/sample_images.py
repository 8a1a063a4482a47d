"""The demo's photographs: ``python -m glowkin.scene.sample_images OUT_DIR``.

Everything in them is invented: a red hydrated manganese bromide that loses its water and turns into a green
form, its storage, a terbium solid, a stable control and a blank. The same seed gives the same bytes.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from glowkin.scene.cameras import SceneCamera, default_camera
from glowkin.scene.chart import photograph_chart
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.series import Change, Course, photograph_series
from glowkin.scene.shot import Exposure, Shot
from glowkin.scene.spectra import TERBIUM, WAVELENGTH_NM, band, lines, skewed_band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.scene.series import CourseTruth, Series
    from glowkin.scene.truth import SampleTruth

    Array: TypeAlias = "NDArray[np.float64]"

SIZE_PX = (864, 576)
SEED = 20260504
HOUR = 3600.0
OPENED = datetime(2026, 5, 4, 9, 0, 0)
HOURS = (0, 2, 4, 6, 8, 12, 24, 48, 96, 144, 216, 288)
LUMINANCE_RATIO = 10.0
RED_LUMINANCE = 0.05
"""Of a vial of the red form, in the scene's units: gives exposures of about a second."""

ROOM = 10.0
"""The room's light, in the scene's units."""

FORM_OF = {"red-batch-1": "red", "red-batch-2": "red", "green-form": "green"}
"""Which form a sample of the side-by-side photograph is; the others are neither."""

VIOLET, GLASS_VIOLET, CLOTH_VIOLET = 0.008, 0.010, 0.003
NOTE = "All figures are invented and the photographs are rendered; no substance was made."


@dataclass(frozen=True)
class Storage:
    """One storage condition of the demo: how its vials are named and what they do."""

    name: str
    words: str
    course: Course


STORAGES = (
    Storage(
        "MgCl2-25C",
        "open over saturated MgCl2, 33 % relative humidity, 25 C",
        Course("avrami-erofeev", 6 * HOUR, 2.0),
    ),
    Storage(
        "MgCl2-5C",
        "open over saturated MgCl2, 33 % relative humidity, 5 C",
        Course("avrami-erofeev", 82 * HOUR, 2.0),
    ),
    Storage("capped", "capped, the cap leaks", Course("zero-order", 216 * HOUR)),
    Storage("tight", "capped tightly", Course("first-order", 24 * HOUR, stops_at=0.987)),
    Storage("NaCl", "open over saturated NaCl, 75 % relative humidity, 25 C", Course()),
)


def main(arguments: list[str]) -> int:
    """Write everything into the folder named by the one argument."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m glowkin.scene.sample_images OUT_DIR\n")
        return 2
    write_all(Path(arguments[0]))
    return 0


def write_all(out: Path) -> None:
    """Write the photographs, their known answers and the note that they are invented."""
    (out / "series").mkdir(parents=True, exist_ok=True)
    camera = sample_camera()
    pair, chart, series = side_by_side(camera), chart_photograph(camera), storage_series(camera)
    write_dng(pair, out / "side_by_side.dng")
    write_jpeg(pair, out / "side_by_side.jpg")
    write_jpeg(room_light(camera), out / "room_light.jpg")
    write_dng(chart, out / "chart.dng")
    for shot in series.shots:
        write_dng(shot, out / "series" / series_name(shot))
    text = json.dumps(answers(pair, chart, series), indent=1, ensure_ascii=False)
    (out / "answers.json").write_text(text + "\n", encoding="utf-8")
    (out / "README.md").write_text(README, encoding="utf-8")


def sample_camera() -> SceneCamera:
    """The camera of all photographs: twelve bits, so that the files stay small."""
    return default_camera().with_(bits=12, black=256)


def side_by_side(camera: SceneCamera) -> Shot:
    """Two red batches 3 nm apart, the green form, a terbium solid, the control and a blank."""
    scene, rng = _side_by_side()
    exposure = Exposure(f_number=4.0, taken_at=datetime(2026, 5, 4, 8, 40, 0))
    return photograph(scene, camera, rng, exposure, brightest=0.62)


def room_light(camera: SceneCamera) -> Shot:
    """The same vials with the lamp off and the room's light on: what they look like, nothing to measure."""
    scene, rng = _side_by_side()
    exposure = Exposure(exposure_s=0.25, f_number=4.0, taken_at=datetime(2026, 5, 4, 8, 37, 0))
    return photograph(replace(scene.lamp_off(), room=ROOM), camera, rng, exposure)


def _side_by_side() -> tuple[Scene, np.random.Generator]:
    rng = np.random.default_rng(SEED)
    glow = {
        "red-batch-1": with_luminance(band(640.0, 85.0), RED_LUMINANCE),
        "red-batch-2": with_luminance(band(637.0, 85.0), 1.06 * RED_LUMINANCE),
        "green-form": with_luminance(band(520.0, 52.0), LUMINANCE_RATIO * RED_LUMINANCE),
        "terbium": with_luminance(lines(TERBIUM), 5.0 * RED_LUMINANCE),
        "control": control_glow(),
        "blank": np.zeros(471),
    }
    centres = grid_centres(SIZE_PX, 3, 2, margin=0.09)
    samples = tuple(
        _vial(name, centre, 66.0, radiance, i, rng)
        for i, (centre, (name, radiance)) in enumerate(zip(centres, glow.items(), strict=True))
    )
    return Scene(SIZE_PX, samples, surroundings_violet=CLOTH_VIOLET, halo=0.015, seed=SEED), rng


def chart_photograph(camera: SceneCamera) -> Shot:
    """The 24-patch chart by a window at 5600 K."""
    exposure = Exposure(f_number=5.6, taken_at=datetime(2026, 5, 4, 8, 15, 0))
    return photograph_chart(camera, np.random.default_rng(SEED + 1), exposure=exposure)


def storage_series(camera: SceneCamera) -> Series:
    """Five storages, three vials each, and a stable control, photographed over twelve days."""
    rng = np.random.default_rng(SEED + 2)
    red, green = band(640.0, 85.0), band(520.0, 52.0)
    samples, changes = [], []
    centres = grid_centres(SIZE_PX, 4, 4, margin=0.06)
    for i, centre in enumerate(centres[:15]):
        storage, level = STORAGES[i // 3], RED_LUMINANCE * (1.0 + 0.04 * rng.standard_normal())
        name = f"{storage.name}-{i % 3 + 1}"
        samples.append(_vial(name, centre, 34.0, with_luminance(red, level), 100 + i, rng))
        end = with_luminance(green, LUMINANCE_RATIO * level)
        changes.append(Change(name, _of_this_vial(storage.course, rng), end))
    samples.append(_vial("control", centres[15], 34.0, control_glow(), 115, rng))
    scene = Scene(SIZE_PX, tuple(samples), surroundings_violet=CLOTH_VIOLET, halo=0.012, seed=SEED + 3)
    times = [h * HOUR for h in HOURS]
    exposure = Exposure(f_number=4.0, taken_at=OPENED)
    return photograph_series(scene, changes, times, camera, rng, exposure, brightest=0.64)


def control_glow() -> Array:
    """The stable control: a yellow glass."""
    return with_luminance(skewed_band(565.0, 80.0), 4.0 * RED_LUMINANCE)


def series_name(shot: Shot) -> str:
    """A file name that tells the time."""
    return shot.exposure.taken_at.strftime("%Y-%m-%dT%H-%M-%S.dng")


def _middles(camera: SceneCamera) -> dict[str, float]:
    """The mean wavelength of each channel's sensitivities, 380 to 780 nm."""
    inside = (WAVELENGTH_NM >= 380.0) & (WAVELENGTH_NM <= 780.0)
    S = camera.sensitivities[inside]
    middle = WAVELENGTH_NM[inside] @ S / S.sum(axis=0)
    return {c: round(float(m), 2) for c, m in zip(("red", "green", "blue"), middle, strict=True)}


def answers(pair: Shot, chart: Shot, series: Series) -> dict[str, Any]:
    """Every known answer, in plain numbers."""
    stand = chart.chart
    assert stand is not None  # noqa: S101 - a chart photograph always has one
    return {
        "note": NOTE,
        "observer": "CIE 1931, 2 degrees",
        "white_point": "E",
        "side_by_side": {"names": _names(pair), "samples": [_shown_answer(t) for t in pair.truths]},
        "chart": {
            "light": f"daylight, {stand.cct_kelvin:.0f} K",
            "light_kelvin": stand.cct_kelvin,
            "channel_middle_nm": _middles(chart.camera),
            "flare": stand.flare,
            "corners_px": [[round(v, 1) for v in corner] for corner in stand.corners_px],
        },
        "series": {
            "names": _names(series.shots[0]),
            "start": OPENED.isoformat(),
            "control": "control",
            "times_h": list(HOURS),
            "lamp": [round(v, 4) for v in series.lamp],
            "storages": {s.name: s.words for s in STORAGES},
            "forms": {
                "start": _sample_answer(series.shots[0].truths[0], "start"),
                "end": _sample_answer(series.shots[-1].truths[0], "end"),
            },
            "vials": [_course_answer(t) for t in series.truths],
        },
    }


def _vial(
    name: str, centre: tuple[float, float], radius: float, radiance: Array, i: int, rng: np.random.Generator
) -> SceneSample:
    """A vial set down by hand: nearly on its place, its powder scattering some of the lamp's violet."""
    x, y = centre + 0.05 * radius * rng.standard_normal(2)
    powder = bool(radiance.any())
    return SceneSample(
        name,
        Shape("vial", (float(x), float(y)), radius * float(rng.uniform(0.95, 1.05))),
        radiance,
        violet=VIOLET * float(rng.uniform(0.7, 1.3)) if powder else 0.0,
        glass_violet=GLASS_VIOLET,
        albedo=0.75 if powder else 0.06,
        texture=0.055,
        seed=SEED + i,
    )


def _of_this_vial(course: Course, rng: np.random.Generator) -> Course:
    """The course of one vial: half-times of one storage scatter by 4 %, stops by a tenth of a per cent."""
    time, stop = rng.standard_normal(2)
    if course.half_time_s is None:
        return course
    stops_at = course.stops_at + 0.001 * stop if course.stops_at else 0.0
    half = round(course.half_time_s * (1.0 + 0.04 * time))
    return replace(course, half_time_s=float(half), stops_at=round(float(stops_at), 4))


def _names(shot: Shot) -> str:
    return ",".join(t.name for t in shot.truths)


def _sample_answer(truth: SampleTruth, name: str | None = None) -> dict[str, Any]:
    from glowkin.colour.dominant import dominant

    row: dict[str, Any] = {"name": name or truth.name}
    if name is None:
        row["centre_px"] = [round(v, 1) for v in truth.centre_px]
        row["luminance_relative"] = round(truth.brightness, 4)
    if truth.colour is not None:
        wavelength = float(dominant(truth.colour.xy, (1 / 3, 1 / 3)).dominant_wavelength_nm)
        row |= {"u_prime": round(truth.u_prime, 4), "v_prime": round(truth.v_prime, 4)}
        row |= {"dominant_wavelength_nm": round(wavelength, 1)}
    return row


def _shown_answer(truth: SampleTruth) -> dict[str, Any]:
    """A sample of the side-by-side photograph, and which of the two forms it is."""
    return {**_sample_answer(truth), "form": FORM_OF.get(truth.name, "neither")}


def _course_answer(truth: CourseTruth) -> dict[str, Any]:
    return {
        "name": truth.name,
        "model": truth.model,
        "half_time_h": None if truth.half_time_s is None else round(truth.half_time_s / HOUR, 2),
        "exponent": truth.exponent,
        "stops_at": truth.stops_at if truth.model != "none" else 1.0,
        "luminance_ratio": round(truth.luminance_ratio, 3),
        "fraction_start": [round(f, 4) for f in truth.fraction_start],
    }


README = """# Sample images

Rendered, not photographed, and all figures in them are invented: the substances, their colours, their
half-times, the camera. `python -m glowkin.scene.sample_images sample_images` writes this folder again, byte
for byte with the same versions of its libraries. `preparation.toml` and `study.toml` were written by hand.

| file | shows |
|---|---|
| `side_by_side.dng` | two red batches 3 nm apart, the green form, a terbium solid, a control, a blank |
| `side_by_side.jpg` | the same shot as the camera developed it, white balance fixed to daylight |
| `room_light.jpg` | the same vials in room light, to be looked at only |
| `chart.dng` | a 24-patch chart by a window, daylight of 5600 K, with a little flare and uneven light |
| `series/` | fifteen vials in five storages and a stable control, twelve photographs over twelve days |
| `preparation.toml` | the preparation of the red form and the weighings of one vial, for `glowkin prep` |
| `study.toml` | the study file of the demo: samples, storages, lamp, batch, control, opening |
| `answers.json` | the known answers: names in reading order, colours, half-times, where a change stops |

`glowkin camera fit chart.dng -o camera.json` makes the camera file that the demo measures the others with.

The story: (C6H14N2)[MnBr4(H2O)2], red, loses its water and becomes (C6H14N2)MnBr4, green and ten times
brighter under a 365 nm torch. The vials are kept over saturated MgCl2 at 25 C and at 5 C, under a cap that
leaks, under a tight one, and over saturated NaCl.
"""


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
