"""Maps in a file beside the records, so that a report can be made again and others can use them."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.base.files import write_whole
from glowkin.base.maps import FractionMap

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

NAME = "maps.npz"
_ARRAYS = ("values", "inside")


def write_maps(folder: Path, maps: Mapping[str, Sequence[FractionMap]]) -> None:
    """Write ``maps.npz``; without any maps the file is taken away."""
    path = folder / NAME
    if not maps:
        path.unlink(missing_ok=True)
        return
    rows, arrays = list[dict[str, Any]](), dict[str, Any]()
    plain = [f.name for f in fields(FractionMap) if f.name not in _ARRAYS]
    for name, row in maps.items():
        for shown in row:
            arrays |= {f"{kind}_{len(rows)}": getattr(shown, kind) for kind in _ARRAYS}
            rows.append({"name": name, **{key: getattr(shown, key) for key in plain}})
    buffer = io.BytesIO()
    index = np.array(json.dumps(rows, ensure_ascii=False))
    np.savez_compressed(buffer, allow_pickle=False, index=index, **arrays)
    write_whole(path, buffer.getvalue())


def read_maps(folder: Path) -> dict[str, tuple[FractionMap, ...]]:
    """What ``write_maps`` wrote; nothing where there is no file. CannotReadError for a broken one."""
    path, out = folder / NAME, dict[str, tuple[FractionMap, ...]]()
    if not path.is_file():
        return out
    try:
        with np.load(path, allow_pickle=False) as arrays:
            for i, row in enumerate(json.loads(str(arrays["index"]))):
                name = row.pop("name")
                found = FractionMap(**row, **{kind: arrays[f"{kind}_{i}"] for kind in _ARRAYS})
                out[name] = (*out.get(name, ()), found)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, zipfile.BadZipFile) as error:
        raise CannotReadError(
            f"{path}: is not as glowkin wrote it ({type(error).__name__}); track again, or remove it"
        ) from error
    return out
