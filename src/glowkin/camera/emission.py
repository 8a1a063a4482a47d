"""From three channels to CIE colour, by knowing that what glows is luminescence.

A camera is what is known of its sensitivities, or, for a rendered file, a colour space and how far its white
balance may be off. Every spectrum of the prior is seen by it once (``answers``); a measured colour is read
from its neighbours there.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.uncertainty import Array, Uncertain
from glowkin.camera.cache import cached, content
from glowkin.camera.camera_file import MEASURED_SD, CameraFile, imported
from glowkin.camera.daylight import D65_KELVIN, planck
from glowkin.camera.development import BALANCE
from glowkin.camera.emission_prior import VERSION, emission_prior
from glowkin.camera.grid import observer as observer_on_grid
from glowkin.camera.maker import seen_through
from glowkin.camera.nearby import ALIKE, near_loadings
from glowkin.camera.overexposed import CEILING, ceiling_of
from glowkin.camera.tables import Description, answers_kept, overexposed_kept
from glowkin.colour.chromaticity import jacobian_uv_prime_XYZ

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from glowkin.camera.answers import Answers, Read
    from glowkin.camera.calibrate import LightsSeen
    from glowkin.camera.filter import Filter
    from glowkin.camera.overexposed import Overexposed
    from glowkin.camera.sensitivities import Sensitivities
    from glowkin.light.photo import Photograph


NO_NAME = "unknown camera"
"""Of a camera whose files do not tell it."""


@dataclass(frozen=True)
class Emissions:
    """Colours of n emissions: ``luminance`` (n, relative), ``uv_prime`` (n x 2) with its ``own`` covariance
    (n x 2 x 2) and, for each, the ``shared`` loadings by source (2 x r).
    ``band`` (n x 2 x 3): inferred centre and width of a single band in nm, each as value
    and 95 % bounds, NaN where no single band explains the channels; ``apart`` (n), above about 1 where
    nothing in the prior looks so.
    """

    luminance: Array
    uv_prime: Array
    own: Array
    shared: tuple[Mapping[str, Array], ...]
    band: Array
    apart: Array

    def uncertain(self, i: int) -> Uncertain:
        """The chromaticity of one emission with its errors."""
        return Uncertain(self.uv_prime[i], self.own[i], self.shared[i])


@dataclass(frozen=True, eq=False)
class Camera:
    """What turns linear RGB into colours.

    Either ``sensitivities``, or for a rendered file the matrix of its colour space to XYZ ``space`` (3 x 3)
    and the error of its white ``balance``. ``basis`` says how it was obtained: ``sensitivities``, ``chart``,
    ``chart-and-lights`` or ``generic``. Errors are shared by whatever the camera of this ``source`` sees.
    """

    name: str
    basis: str
    sensitivities: Sensitivities | None = None
    space: Array | None = None
    balance: float = 0.0
    source: str = ""
    loading_sources: tuple[tuple[str, int], ...] = ()
    file: CameraFile | None = None
    _tables: dict[int, Answers] = field(default_factory=dict, repr=False)
    _over: dict[int, Overexposed] = field(default_factory=dict, repr=False)

    @property
    def shared_source(self) -> str:
        """What this camera's errors are named by."""
        return self.source or f"{self.name}, {self.basis}"

    @property
    def calibrated(self) -> bool:
        """Whether its sensitivities were measured or fitted: a file's matrices alone tell too little."""
        return self.basis != "generic"

    def with_answers(
        self,
        sensitivities: Sensitivities | None,
        answers: Mapping[int, Answers],
        loading_sources: tuple[tuple[str, int], ...],
    ) -> Camera:
        """The camera with other sensitivities and answers, whose loadings belong to these sources, each with
        its number of columns.
        """
        return replace(
            self,
            sensitivities=sensitivities,
            source=self.shared_source,
            loading_sources=loading_sources,
            _tables=dict(answers),
        )

    def answers(self, observer: int = 2) -> Answers:
        """What the camera shows of the prior's spectra; made once, then kept on disk."""
        if observer not in self._tables:
            self._tables[observer] = answers_kept(self._description, observer)
        return self._tables[observer]

    def overexposed(self, observer: int = 2) -> Overexposed:
        """The same of spectra too bright for it; kept on disk too."""
        if observer not in self._over:
            self._over[observer] = overexposed_kept(self._description, observer)
        return self._over[observer]

    @property
    def _description(self) -> Description:
        return Description(self.sensitivities, self.space, self.balance, self.calibrated)

    @cached_property
    def to_xyz(self) -> Array:
        """The 3 x 3 matrix from linear RGB to XYZ that errs least over the prior, at equal luminance."""
        known = self.sensitivities
        if known is None:
            return np.asarray(self.space)
        return cached(f"matrix {VERSION} {content(known.mean)}", lambda: _best_matrix(known)).astype(float)

    def behind(self, filter_: Filter) -> Camera:
        """The same camera with a filter before its lens."""
        assert self.sensitivities is not None  # noqa: S101 - rendered files are refused before
        known = self.sensitivities.times(filter_.known)
        return Camera(f"{self.name} behind {filter_.name}", self.basis, known)

    @property
    def luminance_weights(self) -> tuple[float, float, float]:
        """Linear RGB to relative luminance."""
        r, g, b = (float(w) for w in self.to_xyz[1])
        return r, g, b

    @property
    def white(self) -> Array:
        """Linear RGB of a white surface in daylight (6504 K, as D65, CIE 15), green being 1.

        Of sensitivities by the light's spectrum: the matrix that errs least over emissions need not hold for
        white.
        """
        if self.sensitivities is None:
            seen = np.linalg.solve(self.to_xyz, (0.9505, 1.0, 1.0891))
        else:
            seen = self.sensitivities.mean @ planck(D65_KELVIN)
        return np.asarray(seen / seen[1])

    def XYZ(self, rgb: Array) -> Array:
        """Relative XYZ (n x 3) of linear RGB (n x 3) by the matrix: to compare, not for colours."""
        return np.asarray(rgb @ self.to_xyz.T)

    def jacobian(self, rgb: Array) -> Array:
        """Derivative of u'v' by linear RGB (n x 3), n x 2 x 3, by the matrix."""
        return jacobian_uv_prime_XYZ(self.XYZ(rgb)) @ self.to_xyz

    def infer(
        self,
        mean_rgb: Array,
        covariance: Array,
        observer: int = 2,
        stray: Array | None = None,
        allowance: Array | None = None,
    ) -> Emissions:
        """Colour of n channel means (n x 3) with their covariance (n x 3 x 3); NaN in, NaN out.

        ``observer`` is 2 or 10 degrees. ``stray`` (n x 3 x r) are kinds of light that may still be in the
        means or missing from them, one standard deviation each, in amounts that the prior helps to tell;
        ``allowance`` (n x 3 x r) are kinds of which only a cautious bound is known: they widen the region and
        leave the colour.
        """
        return self._infer(self.answers(observer), mean_rgb, covariance, stray, allowance)

    def infer_clipped(
        self,
        mean_rgb: Array,
        covariance: Array,
        clipped: NDArray[np.bool_],
        observer: int = 2,
        stray: Array | None = None,
        allowance: Array | None = None,
    ) -> Emissions:
        """As ``infer``, but means (n x 3) of those ``clipped`` (n x 3) are what the channel is at least.

        ``luminance`` is the least that it may be (97.5 %). NaN where all are clipped, or none, or oddly.
        """
        table, unit = self.overexposed(observer), ceiling_of(mean_rgb, clipped)
        rgb = np.where(clipped, CEILING, mean_rgb / unit)
        rgb = np.where(table.holds(rgb)[:, None], rgb, np.nan)
        free = np.where(clipped, 0.0, 1.0 / unit)[:, :, None]
        C = covariance * free * free.transpose(0, 2, 1)
        kinds = (None if kind is None else kind * free for kind in (stray, allowance))
        found = self._infer(table, rgb, C, *kinds)
        return replace(found, luminance=found.luminance * unit[:, 0])

    def _infer(
        self,
        table: Answers,
        mean_rgb: Array,
        covariance: Array,
        stray: Array | None,
        allowance: Array | None,
    ) -> Emissions:
        rgb = np.asarray(mean_rgb, dtype=float).reshape(-1, 3)
        C = np.asarray(covariance, dtype=float).reshape(-1, 3, 3)
        if stray is not None:
            C = C + stray @ stray.transpose(0, 2, 1)
        known = np.isfinite(rgb).all(axis=1) & np.isfinite(C).all(axis=(1, 2)) & (rgb > 0).any(axis=1)
        read = table.read(rgb[known], C[known])
        own, shared = self._parts(read, C[known])
        if allowance is not None:
            own = own + table.allowed(rgb[known], C[known], allowance[known])
        sources = iter(shared)
        return Emissions(
            _filled(known, read.luminance),
            _filled(known, read.uv_prime),
            _filled(known, own),
            tuple(next(sources) if k else {} for k in known),
            _filled(known, read.band),
            _filled(known, read.apart),
        )

    def _parts(self, read: Read, C: Array) -> tuple[Array, list[Mapping[str, Array]]]:
        """The total covariance in two parts: each colour's own (n x 2 x 2), and what it shares by source."""
        source = self.shared_source
        named, counts = zip(
            *(self.loading_sources or ((f"{source}, camera", read.shared.shape[2]),)), strict=True
        )
        ends = np.cumsum(counts)[:-1]
        noise = read.jacobian @ C @ read.jacobian.transpose(0, 2, 1)
        rest = _at_least_zero(read.total - read.shared @ read.shared.transpose(0, 2, 1))
        field_part = ALIKE["raw" if self.space is None else "rendered"] * _at_least_zero(rest - noise)
        shared: list[Mapping[str, Array]] = [
            {
                **dict(zip(named, np.split(loads, ends, axis=1), strict=True)),
                **near_loadings(uv, part, source),
            }
            for loads, uv, part in zip(read.shared, read.uv_prime, field_part, strict=True)
        ]
        return _at_least_zero(rest - field_part), shared

    @classmethod
    def from_sensitivities(
        cls,
        wavelength_nm: Array,
        sensitivities: Array,
        *,
        name: str = "camera",
        relative_sd: float = MEASURED_SD,
    ) -> Camera:
        """A camera of measured sensitivities (n x 3, response per unit of power) at wavelengths (n,) in nm.

        ``relative_sd`` is the measurement's own error, smooth in wavelength and each channel's own.
        """
        known = imported(
            np.asarray(wavelength_nm, dtype=float), np.asarray(sensitivities, dtype=float), relative_sd
        )
        return cls(name, "sensitivities", known)

    @classmethod
    def from_file(cls, file: CameraFile, behind: Filter | None = None) -> Camera:
        """The camera of a camera file, behind this filter: counted once, also where the file was made so."""
        known = file.behind(behind)
        key = content(known.mean, known.loadings)[:8]
        return cls(file.name, file.basis, known, source=f"{file.name}, {file.basis} {key}", file=file)

    @classmethod
    def load(cls, path: str | Path) -> Camera:
        """Read a camera file. Raises ``CannotReadError`` with the key that is wrong and the mend."""
        return cls.from_file(CameraFile.load(Path(path)))

    def save(self, path: str | Path) -> None:
        """Write a camera file. Raises ``WrongUseError`` for a camera of which no sensitivities are known."""
        if self.sensitivities is None or not self.calibrated:
            raise WrongUseError(f"{self.name}: nothing is known of its sensitivities that a file could keep")
        file = self.file or CameraFile(self.sensitivities, self.basis, model=self.name)
        file.save(Path(path))

    @classmethod
    def fit(
        cls,
        chart_photo: str | Path,
        *,
        corners: Array | None = None,
        chart: str | Path | None = None,
        chart_light: str = "daylight",
        lights: LightsSeen | None = None,
    ) -> Camera:
        """A camera from a raw photograph of a 24-patch chart, as ``glowkin camera fit`` makes it.

        ``corners`` (4 x 2) of the cell grid in pixels, found by themselves if left out; ``chart`` a file of
        reflectances; ``chart_light`` a name, a colour temperature or a file; ``lights`` known lights seen.
        Raises CannotReadError, CannotMeasureError or WrongUseError with a sentence that names the mend.
        """
        from glowkin.camera.chart import fit_chart
        from glowkin.light.decode import open_photo

        return cls.from_file(fit_chart(open_photo(chart_photo), corners, chart, chart_light, lights))


def camera_of(
    photo: Photograph, file: CameraFile | None = None, behind: Filter | None = None
) -> tuple[Camera, tuple[str, ...]]:
    """The camera of a photograph, and flags: by its camera file, else as the photograph describes it.

    An automatic white balance is shared with no other file.
    Raises ``CannotMeasureError`` where a camera file or a filter is given for a rendered file.
    """
    name = f"{photo.metadata.make} {photo.metadata.model}".strip() or NO_NAME
    if photo.kind == "raw":
        if file is not None:
            return Camera.from_file(file, behind), _file_flags(photo, file, behind)
        plain = _maker_camera(name, np.array(photo.to_xyz).tobytes())
        return (plain if behind is None else plain.behind(behind)), ()
    if file is not None or behind is not None:
        what = "a camera file describes" if file is not None else "a filter is reckoned with on"
        raise CannotMeasureError(
            f"{photo.path}: {what} raw values, and this file was developed by the camera; measure the raw "
            f"file, or leave out {'--camera' if file is not None else '--filter'}"
        )
    automatic = "automatic-white-balance" in photo.flags
    name = f"{name}, {photo.colour_space}"
    if automatic:
        name = f"{name}, balanced in {photo.sha256[:8]}"
    balance = BALANCE["automatic" if automatic else "set"]
    return Camera(name, "generic", space=photo.to_xyz[0], balance=balance), ()


def _file_flags(photo: Photograph, file: CameraFile, behind: Filter | None) -> tuple[str, ...]:
    told = [part.strip().lower() for part in (photo.metadata.make or "", photo.metadata.model or "")]
    known = [part.strip().lower() for part in (file.make, file.model)]
    differs = any(a and b and a != b for a, b in zip(told, known, strict=True))
    checks = {
        "other-camera": differs,
        "other-filter": file.other_filter(behind),
        "camera-unlike-prior": file.unlike,
    }
    return tuple(flag for flag, raised in checks.items() if raised)


@lru_cache(maxsize=8)
def _maker_camera(name: str, matrices: bytes) -> Camera:
    return Camera(name, "generic", seen_through(list(np.frombuffer(matrices).reshape(-1, 3, 3))))


def _best_matrix(camera: Sensitivities) -> Array:
    prior = emission_prior()
    few = prior.spectra[::8]
    XYZ = few @ observer_on_grid(2).astype(np.float32)
    return np.asarray(
        np.linalg.lstsq((few @ camera.mean.T.astype(np.float32)).astype(float), XYZ, rcond=None)[0].T
    )


def _filled(known: NDArray[np.bool_], values: Array) -> Array:
    """Values of the known ones among all, NaN elsewhere."""
    out = np.full((len(known), *values.shape[1:]), np.nan)
    out[known] = values
    return out


def _at_least_zero(covariances: Array) -> Array:
    """Symmetric matrices with what is negative of their eigenvalues left out."""
    values, vectors = np.linalg.eigh(covariances)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))[:, None]
    return np.asarray(root @ root.transpose(0, 2, 1))
