"""What ``glowkin camera`` does: fit or import a camera, write its file, tell of it. No science here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin import recipes
from glowkin.base.errors import WrongUseError
from glowkin.base.files import check_place
from glowkin.terminal import print_json, show_camera

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from glowkin.camera.camera_file import CameraFile


def fit_camera(
    output: Path,
    program: str,
    *,
    corners: Sequence[tuple[float, float]] | None,
    as_json: bool,
    **options: Any,
) -> int:
    """Fit a camera, write its file and say what came of it; the exit status."""
    if (options["known_lights"] is None) != (options["known"] is None):
        raise WrongUseError(
            "--known-lights and --known go together: a photograph and the list of what it shows"
        )
    check_place(output)
    places = None if corners is None else np.array(corners)
    return _kept(recipes.fit_camera(corners=places, **options), output, program, as_json=as_json)


def import_camera(source: Path, output: Path, program: str, *, behind: Path | None, as_json: bool) -> int:
    """Make a camera file from measured sensitivities; the exit status."""
    check_place(output)
    return _kept(recipes.import_camera(source, behind), output, program, as_json=as_json)


def _kept(file: CameraFile, output: Path, program: str, *, as_json: bool) -> int:
    file.save(output, program)
    if as_json:
        row = {"schema": "glowkin.camera-fit.v1", "program": program, "errors": [], "path": str(output),
               "name": file.name, "basis": file.basis, "filter": file.filter.name if file.filter else "",
               "unlike_prior": file.unlike, "obtained": file.obtained}  # fmt: skip
        print_json(row)
    else:
        show_camera(file, output)
    return 0
