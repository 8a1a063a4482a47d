"""Camera files: what is known of one camera's sensitivities, how it was obtained, in JSON.

``wavelength_nm`` is the grid; ``mean`` holds R, G and B on it, relative response per unit of spectral power,
green summing to 1; ``loadings`` (r times 3 times the grid) carry the covariance: the camera is the mean plus
loadings times independent standard normals.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeGuard

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from glowkin.base.errors import CannotReadError
from glowkin.base.files import write_whole
from glowkin.base.wrong_keys import wrong_keys
from glowkin.camera.calibrate import OWN
from glowkin.camera.filter import Filter
from glowkin.camera.grid import WAVELENGTH_NM, on_grid
from glowkin.camera.sensitivities import Sensitivities, camera_prior, structured

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from glowkin.base.uncertainty import Array

SCHEMA = "glowkin.camera.v1"
NEEDED_NM = (430.0, 650.0)
"""What sensitivities must reach over at least."""
MEASURED_SD, _MEASURED_LENGTH_NM = 0.02, 30.0
"""Error of measured sensitivities: laboratories differ by 0.02-0.06 of a channel's peak over one camera."""
UNLIKE = 4.0
"""Distance from the prior above which measured sensitivities are unlike any: none of 26 measured cameras lies
as far out, whose makers the prior did not know."""
_MISFIT = 0.03
_TABLE = (
    "Check the table: wavelengths in nm, the columns r, g, b as raw values have them, and a filter that it "
    "was measured through named with --filter; else calibrate with a chart."
)
Response = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]


class _Channels(BaseModel):
    """R, G and B on the file's wavelengths."""

    model_config = ConfigDict(extra="forbid", strict=True)

    r: list[Response]
    g: list[Response]
    b: list[Response]

    @property
    def rows(self) -> list[list[float]]:
        return [self.r, self.g, self.b]


class _Written(BaseModel):
    """What a camera file holds."""

    model_config = ConfigDict(extra="forbid", strict=True)

    schema_: Literal["glowkin.camera.v1"] = Field(alias="schema")
    program: str = ""
    basis: Literal["sensitivities", "chart", "chart-and-lights"]
    make: str
    model: str
    filter: str = ""
    filter_transmittance: list[Annotated[float, Field(ge=0.0, le=1.0)]] | None = None
    unlike_prior: bool = False
    obtained: dict[str, Any] = {}
    wavelength_nm: list[FiniteFloat]
    mean: _Channels
    loadings: list[list[list[FiniteFloat]]]


def _misfits(row: dict[str, Any]) -> Iterator[str]:
    """What lists of a camera file say against each other; those that are no numbers are passed over."""
    nm = row.get("wavelength_nm")
    if not _are_numbers(nm):
        return
    if any(b <= a for a, b in pairwise(nm)):
        yield "wavelength_nm: must rise from each value to the next"
    if not nm or min(nm) > NEEDED_NM[0] or max(nm) < NEEDED_NM[1]:
        yield f"wavelength_nm: must reach from {NEEDED_NM[0]:g} to {NEEDED_NM[1]:g}"
    mean, loadings = row.get("mean"), row.get("loadings")
    channels = [(f"mean.{c}", mean.get(c)) for c in "rgb"] if isinstance(mean, dict) else []
    parts = [p for p in loadings if isinstance(p, list)] if isinstance(loadings, list) else []
    if any(len(part) != 3 for part in parts):
        yield "loadings: each must hold the three channels"
    lists = [*channels, ("filter_transmittance", row.get("filter_transmittance"))]
    lists += [("loadings", values) for part in parts for values in part]
    wrong = [key for key, values in lists if isinstance(values, list) and len(values) != len(nm)]
    for key in dict.fromkeys(wrong):
        yield f"{key}: must hold as many values as there are wavelengths"
    for key, values in channels:
        if values and _are_numbers(values) and not any(values):
            yield f"{key}: is zero at all wavelengths, so this channel sees nothing"


def _are_numbers(values: Any) -> TypeGuard[list[float]]:
    if not isinstance(values, list):
        return False
    return all(isinstance(v, int | float) and not isinstance(v, bool) and not np.isnan(v) for v in values)


@dataclass(frozen=True, eq=False)
class CameraFile:
    """One camera: its ``sensitivities``, ``basis``, ``make`` and ``model``, the ``filter`` before its lens
    that the sensitivities hold already, or None, whether it is ``unlike`` the cameras of the prior, and how
    it was ``obtained``.
    """

    sensitivities: Sensitivities
    basis: str
    make: str = ""
    model: str = ""
    filter: Filter | None = None
    unlike: bool = False
    obtained: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Make and model, or what stands for them."""
        return f"{self.make} {self.model}".strip() or "unnamed camera"

    def behind(self, filter_: Filter | None) -> Sensitivities:
        """The sensitivities in a photograph through this filter, which may be the one they hold already.

        A filter other than that is no matter of these sensitivities (``other_filter``).
        Raises ``WrongUseError`` where only the filter's name is known.
        """
        if filter_ is None or self.filter is not None:
            return self.sensitivities
        return self.sensitivities.times(filter_.known)

    def other_filter(self, filter_: Filter | None) -> bool:
        """Whether the camera was calibrated behind a filter and the photograph is through none or another."""
        return self.filter is not None and (filter_ is None or not self.filter.same(filter_))

    def save(self, path: Path, program: str = "") -> None:
        """Write the file whole, or not at all."""
        mean, loadings = self.sensitivities.mean, self.sensitivities.loadings
        behind = self.filter or Filter("")
        through = behind.transmittance
        row = {
            "schema": SCHEMA,
            "program": program,
            "basis": self.basis,
            "make": self.make,
            "model": self.model,
            "filter": behind.name,
            "filter_transmittance": None if through is None else np.round(through, 5).tolist(),
            "unlike_prior": self.unlike,
            "obtained": self.obtained,
            "wavelength_nm": WAVELENGTH_NM.tolist(),
            "mean": dict(zip("rgb", np.round(mean, 8).tolist(), strict=True)),
            "loadings": np.round(np.moveaxis(loadings, 2, 0), 9).tolist(),
        }
        write_whole(path, (json.dumps(row, ensure_ascii=False) + "\n").encode())

    @staticmethod
    def load(path: Path) -> CameraFile:
        """Read a camera file.

        Raises ``CannotReadError`` with the keys that are wrong and the mend.
        """
        row = read_json(path, "make one with glowkin camera fit or camera import")
        if row.get("schema") != SCHEMA:
            raise CannotReadError(
                f"{path}: is no camera file, it is of schema {row.get('schema')!r}; make one with glowkin "
                "camera fit"
            )
        wrong, told = list(_misfits(row)), None
        try:
            told = _Written.model_validate(row)
        except ValidationError as error:
            wrong = [wrong_keys(error, _Written), *wrong]
        if told is None or wrong:
            raise CannotReadError(
                f"{path}: {'; '.join(wrong)}; make the file anew with glowkin camera fit or camera import"
            )
        nm = np.array(told.wavelength_nm)
        parts = [_regridded(nm, np.array(part)) for part in (told.mean.rows, *told.loadings)]
        spread = np.stack(parts[1:], axis=-1) if parts[1:] else np.zeros((*parts[0].shape, 0))
        return CameraFile(
            Sensitivities(parts[0], spread), told.basis, told.make, told.model, _filter(nm, told),
            told.unlike_prior, told.obtained,
        )  # fmt: skip


def _filter(nm: Array, told: _Written) -> Filter | None:
    if not told.filter and told.filter_transmittance is None:
        return None
    through = told.filter_transmittance
    return Filter(told.filter, None if through is None else np.interp(WAVELENGTH_NM, nm, through))


def imported(wavelength_nm: Array, rgb: Array, relative_sd: float = MEASURED_SD) -> Sensitivities:
    """Measured sensitivities (n x 3) at wavelengths (n,), with a smooth error of each channel's own."""
    mean = np.maximum(on_grid(wavelength_nm, rgb).T, 0.0)
    mean = mean / mean[1].sum()
    return Sensitivities(
        mean, structured(mean, 0.0, relative_sd, relative_sd / 10.0, _MEASURED_LENGTH_NM)
    ).reduced()


def unlikeness(mean: Array, behind: Filter | None = None) -> float:
    """Squared distance of sensitivities (3 x 201), which may hold a filter, from what cameras are taken
    for before (``calibrate``), over the number of deviations that they tell.
    """
    prior = camera_prior(OWN)
    if behind is not None and behind.transmittance is not None:
        prior = prior.times(behind.transmittance).shapes()
    away = (mean / mean.sum(axis=1, keepdims=True) - prior.mean).ravel()
    size = _MISFIT * np.repeat(prior.mean.max(axis=1), prior.mean.shape[1])
    A = prior.loadings.reshape(away.size, -1) / size[:, None]
    left = np.linalg.inv(A.T @ A + np.eye(A.shape[1]))
    z = left @ (A.T @ (away / size))
    return float(z @ z / (A.shape[1] - np.trace(left)))


def unlike_widened(file: CameraFile) -> CameraFile:
    """The camera flagged where it is unlike the prior's, its error as much wider as it is farther away than a
    camera may be: a table of sensitivities that no other camera resembles may be wrong.
    """
    distance = unlikeness(file.sensitivities.mean, file.filter)
    by = max(1.0, distance / UNLIKE) ** 0.5
    known = replace(file.sensitivities, loadings=by * file.sensitivities.loadings)
    told = file.obtained | {"distance_from_prior": round(distance, 2), "widened": round(by, 2)}
    told["to_check"] = _TABLE if by > 1.0 else ""
    return replace(file, sensitivities=known, unlike=by > 1.0, obtained=told)


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


def _regridded(nm: Array, channels: Array) -> Array:
    return np.stack([np.interp(WAVELENGTH_NM, nm, channel, left=0.0, right=0.0) for channel in channels])
