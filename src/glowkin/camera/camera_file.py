"""Camera files: what is known of one camera's sensitivities, how it was obtained, in JSON.

``wavelength_nm`` is the grid; ``mean`` holds R, G and B on it, relative response per unit of spectral power,
green summing to 1; ``loadings`` (r times 3 times the grid) carry the covariance: the camera is the mean plus
loadings times independent standard normals.
"""

from __future__ import annotations

import json
import os
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.camera.grid import WAVELENGTH_NM, on_grid
from glowkin.camera.sensitivities import Sensitivities, camera_prior, structured

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

SCHEMA = "glowkin.camera.v1"
BASES = ("sensitivities", "chart", "chart-and-lights")
MEASURED_SD, _MEASURED_LENGTH_NM = 0.02, 30.0
"""Error of measured sensitivities: laboratories differ by 0.02-0.06 of a channel's peak over one camera."""
UNLIKE = 4.0
"""Squared distance from the prior, over a dozen degrees of freedom, above which a camera is unlike it."""
_MISFIT = 0.03
_FIELDS = ("schema", "basis", "make", "model", "wavelength_nm", "mean", "loadings")


@dataclass(frozen=True, eq=False)
class CameraFile:
    """One camera: its ``sensitivities``, ``basis``, ``make`` and ``model``, the ``filter`` before its lens (a
    name, or empty), whether it is ``unlike`` the cameras of the prior, and how it was ``obtained``.
    """

    sensitivities: Sensitivities
    basis: str
    make: str = ""
    model: str = ""
    filter: str = ""
    unlike: bool = False
    obtained: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Make and model, or what stands for them."""
        return f"{self.make} {self.model}".strip() or "unnamed camera"

    def save(self, path: Path, program: str = "") -> None:
        """Write the file whole, or not at all."""
        mean, loadings = self.sensitivities.mean, self.sensitivities.loadings
        row = {
            "schema": SCHEMA,
            "program": program,
            "basis": self.basis,
            "make": self.make,
            "model": self.model,
            "filter": self.filter,
            "unlike_prior": self.unlike,
            "obtained": self.obtained,
            "wavelength_nm": WAVELENGTH_NM.tolist(),
            "mean": dict(zip("rgb", np.round(mean, 8).tolist(), strict=True)),
            "loadings": np.round(np.moveaxis(loadings, 2, 0), 9).tolist(),
        }
        handle, part = tempfile.mkstemp(dir=path.resolve().parent, suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump(row, file, ensure_ascii=False)
                file.write("\n")
            Path(part).chmod(0o644)
            Path(part).replace(path)
        except BaseException:
            Path(part).unlink(missing_ok=True)
            raise

    @staticmethod
    def load(path: Path) -> CameraFile:
        """Read a camera file.

        Raises ``CannotReadError`` with the key that is wrong and the mend.
        """
        row = read_json(path, "make one with glowkin camera fit or camera import")
        missing = [key for key in _FIELDS if key not in row]
        if row.get("schema") != SCHEMA or missing:
            what = f"lacks {', '.join(missing)}" if missing else f"is of schema {row.get('schema')!r}"
            raise CannotReadError(f"{path}: is no camera file, it {what}; make one with glowkin camera fit")
        if row["basis"] not in BASES:
            raise CannotReadError(f"{path}: basis is {row['basis']!r}; it must be one of {', '.join(BASES)}")
        nm = _numbers(path, row, "wavelength_nm", (None,))
        mean = _numbers(path, {"mean": [row["mean"].get(c) for c in "rgb"]}, "mean", (3, len(nm)))
        loadings = _numbers(path, row, "loadings", (None, 3, len(nm)))
        parts = [_regridded(nm, part) for part in (mean, *loadings)]
        spread = np.stack(parts[1:], axis=-1) if parts[1:] else np.zeros((*parts[0].shape, 0))
        return CameraFile(
            Sensitivities(parts[0], spread), row["basis"], str(row["make"]), str(row["model"]),
            str(row.get("filter", "")), bool(row.get("unlike_prior", False)), dict(row.get("obtained", {})),
        )  # fmt: skip


def imported(wavelength_nm: Array, rgb: Array, relative_sd: float = MEASURED_SD) -> Sensitivities:
    """Measured sensitivities (n x 3) at wavelengths (n,), with a smooth error of each channel's own."""
    mean = np.maximum(on_grid(wavelength_nm, rgb).T, 0.0)
    mean = mean / mean[1].sum()
    return Sensitivities(
        mean, structured(mean, 0.0, relative_sd, relative_sd / 10.0, _MEASURED_LENGTH_NM)
    ).reduced()


def unlikeness(mean: Array) -> float:
    """Squared distance of sensitivities (3 x 201) from the camera prior, over a dozen degrees of freedom."""
    prior = camera_prior()
    away = (mean / mean.sum(axis=1, keepdims=True) - prior.mean).ravel()
    size = _MISFIT * np.repeat(prior.mean.max(axis=1), prior.mean.shape[1])
    A = prior.loadings.reshape(away.size, -1) / size[:, None]
    z = np.linalg.solve(A.T @ A + np.eye(A.shape[1]), A.T @ (away / size))
    rest = away / size - A @ z
    return float((z @ z + rest @ rest / 10.0) / 12.0)


def read_json(path: Path, mend: str) -> dict[str, Any]:
    """A JSON object from a file, or a sentence."""
    try:
        row = json.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; {mend}") from None
    except (OSError, UnicodeDecodeError, json.JSONDecodeError):
        raise CannotReadError(f"{path}: is no JSON that can be read; {mend}") from None
    if not isinstance(row, dict):
        raise CannotReadError(f"{path}: holds no JSON object; {mend}")
    return row


def _numbers(path: Path, row: dict[str, Any], key: str, shape: tuple[int | None, ...]) -> Array:
    try:
        values = np.array(row[key], dtype=float)
    except (TypeError, ValueError):
        values = np.zeros(0)
    if shape[0] is None and len(shape) == 3 and values.size == 0 and row[key] == []:
        return np.zeros((0, *(n or 0 for n in shape[1:])))
    right = values.ndim == len(shape) and all(
        n in (None, m) for n, m in zip(shape, values.shape, strict=True)
    )
    if not right or not np.isfinite(values).all():
        raise CannotReadError(f"{path}: {key} holds other numbers than it must; make the file anew")
    return values


def _regridded(nm: Array, channels: Array) -> Array:
    return np.stack([np.interp(WAVELENGTH_NM, nm, channel, left=0.0, right=0.0) for channel in channels])
