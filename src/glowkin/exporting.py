"""What ``glowkin study export`` and ``open`` do: have it written or unpacked, tell of it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import WrongUseError
from glowkin.base.files import check_place, folder_made
from glowkin.base.places import typed
from glowkin.showing import print_document
from glowkin.study.export import write_figures, write_tables
from glowkin.study.packing import check_replaceable, pack
from glowkin.study.reading import open_study
from glowkin.study.unpacking import unpack
from glowkin.study.words import heading
from glowkin.terminal import print_json

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from glowkin.telling.print_size import Column


def export(study: Path, program: str, *, as_json: bool, **how: Any) -> int:
    """Write the folder, the zip or both; the exit status."""
    told = exported(study, program, **how, say=_say)
    if as_json:
        print_json(told)
    return 0


def exported(
    study: Path, program: str, *, out: Path | None, zip_file: Path | None, width: Column, with_metadata: bool,
    jobs: int, say: Callable[[str], None],
) -> dict[str, Any]:  # fmt: skip
    """Write the folder, the zip or both; answers the document that tells of it. ``say`` is told in words."""
    if out is None and zip_file is None:
        raise WrongUseError(
            "nothing to write; say where: --out DIR for tables and figures, --zip FILE for all of it"
        )
    told: dict[str, Any] = {"schema": "glowkin.export.v1", "program": program, "errors": []}
    with open_study(study) as reading:
        if zip_file is not None:
            check_replaceable(reading, zip_file)
            check_place(zip_file)
        if out is not None:
            folder_made(out)
            told["tables"] = write_tables(reading, out, program, folders=with_metadata)
            figures = write_figures(reading, out / "figures", width, folders=with_metadata)
            told["figures"] = [
                {"name": n, "width_mm": round(w, 2), "height_mm": round(h, 2)} for n, w, h in figures
            ]
            count = f"{len(figures)} figure{'' if len(figures) == 1 else 's'}"
            say(f"{out}: {', '.join(told['tables'])}; {count} as SVG and PNG, {width} column")
        if zip_file is not None:
            packed = pack(reading, zip_file, program, jobs, with_metadata=with_metadata)
            told["zip"] = {
                "file": zip_file.name,
                "photographs": packed.photographs,
                "stripped": packed.stripped,
            }
            told["zip"]["left_behind"] = list(packed.missing)
            say(_packed_words(zip_file, packed.photographs, packed.stripped, with_metadata=with_metadata))
            for path in packed.missing:
                say(f"{path}: is not in the zip: it counts nowhere, and is not there or cannot be read")
    return told


def open_zip(zip_file: Path, folder: Path, program: str, *, as_json: bool) -> int:
    """Open a zip as a study; the exit status."""
    made = unpack(zip_file, folder)
    if as_json:
        print_document(made, (), program)
        return 0
    with open_study(made) as reading:
        sys.stdout.write(f"{heading(reading.overview())}\n")
    sys.stdout.write(f"Measure it again, and compare, with: glowkin study remeasure {typed(folder)}\n")
    return 0


def _packed_words(zip_file: Path, photographs: int, stripped: int, *, with_metadata: bool) -> str:
    files = f"{photographs} {'photograph' if photographs == 1 else 'photographs'}"
    if with_metadata:
        return f"{zip_file}: {files}, with all that their files tell of place and maker"
    if not stripped:
        return f"{zip_file}: {files}, whose files told nothing of place, maker or owner"
    return f"{zip_file}: {files}, {stripped} of them without what their files told of place, maker or owner"


def _say(words: str) -> None:
    sys.stderr.write(f"{words}.\n")
