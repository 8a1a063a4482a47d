"""Draw the figure of 'Known forms' anew, and print its table.

    PYTHONPATH=src python docs/known_forms.py

Forms from the first and the last photograph of the sample series, looked for in another photograph; the
camera from its chart.
"""

from __future__ import annotations

from pathlib import Path

from glowkin import recipes
from glowkin.base.settings import Settings
from glowkin.camera.emission import Camera
from glowkin.telling import drawing
from glowkin.telling.diagram import chromaticity_diagram
from glowkin.telling.match_table import matches_table
from glowkin.terminal import plain_console, print_table

HERE = Path(__file__).parent
SAMPLES = HERE.parent / "sample_images"
FOLDER = HERE / "_static/known-forms"
NAMES = ("red-batch-1", "red-batch-2", "green-form", "terbium", "control")
KEPT = (("2026-05-04T09-00-00.dng", "S4", "red"), ("2026-05-16T09-00-00.dng", "S1", "green"))


def main():
    camera = Camera.from_file(recipes.fit_camera(SAMPLES / "chart.dng"))
    forms = []
    for file, sample, name in KEPT:
        photo = recipes.measure(SAMPLES / "series" / file, Settings(), camera)
        forms.append(recipes.form_of([photo], sample, name, None, "365 nm"))
    photo = recipes.measure(SAMPLES / "side_by_side.dng", Settings(names=NAMES), camera)
    matches = recipes.match([photo], forms)
    print_table(plain_console(), matches_table(matches))
    FOLDER.mkdir(parents=True, exist_ok=True)
    drawing.save(chromaticity_diagram([photo], "1976", matches=matches), FOLDER / "match.png")


if __name__ == "__main__":
    main()
