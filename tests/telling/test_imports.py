"""Importing the room costs nothing: the heavy libraries come with the first figure or page."""

from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.mark.parametrize("module", ["figures", "report", "out_dir"])
def test_importing_loads_neither_matplotlib_nor_jinja_nor_pillow(module):
    heavy = "{'matplotlib', 'jinja2', 'PIL', 'scipy', 'colour', 'cv2'}"
    code = f"import sys, glowkin.telling.{module}; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout.strip() == "[]"


def test_drawing_leaves_the_users_own_settings_alone(plain):
    import matplotlib as mpl

    from glowkin.telling.figures import png, swatches

    with mpl.rc_context({"font.size": 31.0}):
        assert png(swatches(plain)).startswith(b"\x89PNG")
        assert mpl.rcParams["font.size"] == 31.0
