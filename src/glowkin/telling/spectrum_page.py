"""A measured spectrum in words, and drawn with its place on the diagram."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import Z95
from glowkin.colour.observer import cmfs
from glowkin.colour.spaces import XYZ_to_srgb_display
from glowkin.telling import drawing
from glowkin.telling.diagram import whole_diagram
from glowkin.telling.naming import base_name
from glowkin.telling.numbers import NOTHING, with_interval
from glowkin.telling.tables import Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from glowkin.base.records import Pair
    from glowkin.base.spectra import SpectrumRead
    from glowkin.base.uncertainty import Array

_RANGE_NM = (380.0, 780.0)
_SHOWN_LUMINANCE = 0.35
_PALER = 0.35


def spectrum_table(read: SpectrumRead) -> Table:
    """What a spectrum says, a line each."""
    counted = "photons, turned into power per nm" if read.photons else "power per nm"
    if read.wavenumbers:
        counted += ", turned from wavenumbers"
    rows = (
        ("holds", counted),
        ("range", f"{read.range_nm[0]:.0f} to {read.range_nm[1]:.0f} nm"),
        ("u′", with_interval(read.u_prime, _two_sd(read, 0))),
        ("v′", with_interval(read.v_prime, _two_sd(read, 1))),
        ("x, y", f"{read.x:.4f}, {read.y:.4f} ({read.observer}° observer)"),
        ("dominant wavelength", _nm(read.dominant_wavelength_nm, read.dominant_wavelength_interval_nm)),
        (
            "complementary wavelength",
            _nm(read.complementary_wavelength_nm, read.complementary_wavelength_interval_nm),
        ),
        ("purity", with_interval(read.excitation_purity, read.excitation_purity_interval)),
        ("peak in power", f"{read.peak_nm:.1f} nm"),
        ("peak in photons", f"{read.photon_peak_nm:.1f} nm"),
        ("middle of the power", f"{read.centroid_nm:.1f} nm"),
        ("full width at half height", NOTHING if read.width_nm is None else f"{read.width_nm:.1f} nm"),
    )
    note = (
        f"White {read.white_point}. Errors are those usual for spectrometers: 1 nm in wavelength, 5 % of "
        "sensitivity in 100 nm."
    )
    return Table(f"Spectrum {base_name(read.path)}", ("what", "value"), rows, note)


def _two_sd(read: SpectrumRead, i: int) -> Pair:
    value, sd = (read.u_prime, read.v_prime)[i], read.u_prime_v_prime_covariance[i][i] ** 0.5
    return value - Z95 * sd, value + Z95 * sd


def _nm(value: float | None, interval: Pair | None) -> str:
    return NOTHING if value is None or interval is None else f"{with_interval(value, interval)} nm"


def spectrum_figure(read: SpectrumRead, wavelength_nm: Array, power: Array) -> Figure:
    """The spectrum in the colours of its wavelengths, as near as a screen shows them, above the diagram."""
    uv, C = np.array([read.u_prime, read.v_prime]), np.array(read.u_prime_v_prime_covariance)
    with drawing.style():
        fig = drawing.blank(7.0)
        top, below = fig.subplots(2, 1, height_ratios=[2.4, 4.5])
        _draw(top, read, wavelength_nm, power / power.max())
        whole_diagram(below, uv, C, base_name(read.path), read.white_point_xy, read.observer)
    return fig


def _draw(ax: object, read: SpectrumRead, nm: Array, height: Array) -> None:
    from matplotlib.axes import Axes

    assert isinstance(ax, Axes)  # noqa: S101 - for the type checker
    edges = np.arange(_RANGE_NM[0], _RANGE_NM[1] + 1.0)
    middle = np.interp(edges, nm, height, left=0.0, right=0.0)
    for left, low, high, colour in zip(edges, middle, middle[1:], _colours(edges[:-1]), strict=False):
        ax.fill_between([left, left + 1.0], [max(low, 0), max(high, 0)], color=colour, linewidth=0)
    ax.plot(nm, height, color=drawing.INK, linewidth=1.2)
    ax.axvline(read.peak_nm, color=drawing.FAINT, linewidth=0.8, linestyle=":")
    right = read.peak_nm > 620.0
    ax.annotate(
        f"peak {read.peak_nm:.1f} nm in power,\n{read.photon_peak_nm:.1f} nm in photons",
        (read.peak_nm, 1.12), xytext=(-5 if right else 5, 0), textcoords="offset points", va="center",
        ha="right" if right else "left", fontsize=drawing.SMALL_PT, color=drawing.FAINT,
    )  # fmt: skip
    ax.set(xlim=_RANGE_NM, ylim=(min(0.0, float(height.min())), 1.25))
    ax.set_xlabel("wavelength, nm")
    ax.set_ylabel("power per nm")
    ax.set_title(base_name(read.path), loc="left")


def _colours(nm: Array) -> Array:
    """A screen's colour for each wavelength, paler than it is and dim where the eye sees little."""
    whole, bar = cmfs(2)
    XYZ = np.stack([np.interp(nm, whole, column) for column in bar.T], axis=1)
    seen = XYZ.sum(axis=1, keepdims=True)
    shown = XYZ / np.maximum(seen, 1e-9) * 3 * _SHOWN_LUMINANCE
    rgb, _ = XYZ_to_srgb_display(shown)
    weight = np.clip(seen / 0.1, 0.0, 1.0)
    rgb = (1 - _PALER) * rgb + _PALER
    return np.asarray(weight * rgb + (1 - weight) * 0.85)
