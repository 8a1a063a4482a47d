"""The strip of maps: a row of small pictures for each sample, how far it has changed where, and when."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.maps import CANNOT_TELL, EVENLY
from glowkin.telling import drawing
from glowkin.telling.naming import gathered
from glowkin.telling.progress import short_time

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

    from glowkin.base.maps import FractionMap, MapFound
    from glowkin.base.records import TimeCourse

    Maps = Mapping[str, Sequence[FractionMap]]

ROWS_A_PAGE = 5
COLUMNS = 5
LEVELS = (0.25, 0.5, 0.75)
_EVEN = 0.1
"""Where values differ by less, lines would only follow the noise."""
_TITLE_IN, _TIME_IN, _FIGURE_IN, _FOOT_IN, _GAP_IN = 0.25, 0.19, 0.36, 0.62, 0.08
_SIDE_IN = (drawing.WIDTH_IN - 0.1) / COLUMNS - _GAP_IN
_ROW_IN = _TITLE_IN + _TIME_IN + _SIDE_IN + _FIGURE_IN


def map_pages(maps: Maps) -> Iterator[dict[str, Sequence[FractionMap]]]:
    """The maps in parts of so many samples that each figure fits a sheet; amounts and light apart."""
    for by_light in (False, True):
        rows = iter([(name, row) for name, row in maps.items() if row and row[0].by_light == by_light])
        while page := dict(islice(rows, ROWS_A_PAGE)):
            yield page


def map_strip(maps: Maps, course: TimeCourse) -> Figure:
    """One row a sample, photographs from left to right in order of time, one colour scale for all.

    Viridis: even to the eye, the same order in grey and for the colour-blind. Lines at a quarter, half and
    three quarters; hatched is what could not be told.
    """
    by_light = any(row[0].by_light for row in maps.values() if row)
    with drawing.style():
        fig = drawing.blank(_ROW_IN * len(maps) + _FOOT_IN)
        fig.set_layout_engine("none")
        for i, (name, row) in enumerate(maps.items()):
            found = next((s.map for s in course.samples if s.name == name), None)
            _row(fig, i, f"{name}: {begins_words(found)}", row)
        _colour_bar(fig, by_light)
    return fig


def _row(fig: Figure, i: int, title: str, row: Sequence[FractionMap]) -> None:
    width, height = fig.get_size_inches()
    top = height - i * _ROW_IN
    fig.text(0.05 / width, (top - 0.03) / height, title, va="top", parse_math=False)
    for k, shown in enumerate(row[:COLUMNS]):
        left = 0.05 + _GAP_IN / 2 + k * (_SIDE_IN + _GAP_IN)
        bottom = top - _TITLE_IN - _TIME_IN - _SIDE_IN
        box = (left / width, bottom / height, _SIDE_IN / width, _SIDE_IN / height)
        _map(fig.add_axes(box), shown, scale=k == 0)


def begins_words(found: MapFound | None) -> str:
    """Where the change begins, in a few words."""
    if found is None or found.begins == CANNOT_TELL:
        return "cannot tell where it begins"
    return "begins evenly all over" if found.begins == EVENLY else f"begins {found.begins}"


def beginnings_words(course: TimeCourse) -> list[str]:
    """A sentence on where changes begin, as far as maps tell: samples gathered by what is said of them."""
    said: dict[str, list[str]] = {}
    for s in course.samples:
        if s.map is not None:
            said.setdefault(begins_words(s.map).removeprefix("begins "), []).append(s.name)
    words = "; ".join(f"{gathered(names, course.samples)}: {told}" for told, names in said.items())
    return [f"Where it begins, by the maps: {words}."] if said else []


def colours() -> Colormap:
    """Viridis, with nothing where nothing is known."""
    from matplotlib import colormaps

    return colormaps["viridis"].with_extremes(bad=(0.0, 0.0, 0.0, 0.0))


def _map(ax: Axes, shown: FractionMap, scale: bool) -> None:
    ax.set_axis_off()
    height, width = shown.values.shape
    unknown = shown.inside & ~np.isfinite(shown.values)
    ax.imshow(np.ma.masked_invalid(shown.values), cmap=colours(), vmin=0.0, vmax=1.0, interpolation="nearest")
    if unknown.any():
        ax.contourf(unknown.astype(float), levels=[0.5, 1.5], colors=["#ffffff"], hatches=["/////"])
    _lines(ax, shown)
    edge = np.pad(shown.inside, 1).astype(float)
    ax.contour(np.arange(-1, width + 1), np.arange(-1, height + 1), edge, levels=[0.5], colors=drawing.INK,
               linewidths=0.7)  # fmt: skip
    side = max(height, width)
    ax.set(xlim=((width - side) / 2 - 1.5, (width + side) / 2 + 0.5))
    ax.set(ylim=((height + side) / 2 + 0.5, (height - side) / 2 - 1.5))
    small: dict[str, Any] = {"fontsize": drawing.SMALL_PT, "transform": ax.transAxes, "ha": "center"}
    ax.text(0.5, 1.02, "0" if shown.time_s == 0 else short_time(shown.time_s), va="bottom", **small)
    ax.text(0.5, -0.03, f"{min(max(shown.fraction, 0.0), 1.0):.2f}", va="top", **small)
    if scale:
        length = _round_length(0.5 * side * shown.pixel_px)
        half = length / shown.pixel_px / (side + 2) / 2
        at = ([0.5 - half, 0.5 + half], [-0.3, -0.3])
        ax.plot(*at, color=drawing.INK, linewidth=2.0, transform=ax.transAxes, clip_on=False)
        small["ha"] = "left"
        ax.text(0.5 + half + 0.06, -0.3, f"{length} px", va="center", **small)


def _lines(ax: Axes, shown: FractionMap) -> None:
    """Contour lines of what is known, drawn on values smoothed a little so that they do not fray."""
    from scipy.ndimage import gaussian_filter

    known = np.isfinite(shown.values)
    if known.sum() < 9:
        return
    share = gaussian_filter(known.astype(float), 1.0)
    smooth = gaussian_filter(np.where(known, shown.values, 0.0), 1.0) / np.maximum(share, 1e-6)
    smooth = np.ma.masked_where(~known, smooth)
    low, high = np.quantile(smooth.compressed(), (0.02, 0.98))
    if high - low > _EVEN and low < LEVELS[-1] and high > LEVELS[0]:
        for colour, width in (("black", 1.6), ("white", 0.7)):
            ax.contour(smooth, levels=LEVELS, colors=colour, linewidths=width, linestyles="solid")


def _round_length(pixels: float) -> int:
    """The longest of 1, 2, 5 times a power of ten that is no longer than this; 1 at least."""
    power = 10 ** int(np.floor(np.log10(max(pixels, 1.0))))
    return int(next(k * power for k in (5, 2, 1) if k * power <= max(pixels, 1.0)))


def _colour_bar(fig: Figure, by_light: bool) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    height = fig.get_size_inches()[1]
    place = fig.add_axes((0.06, 0.44 / height, 0.88, 0.1 / height))
    bar = fig.colorbar(
        ScalarMappable(Normalize(0.0, 1.0), colours()),
        cax=place, orientation="horizontal", ticks=(0, *LEVELS, 1),
    )  # fmt: skip
    for level in LEVELS:
        bar.ax.axvline(level, color="black", linewidth=1.6)
        bar.ax.axvline(level, color="white", linewidth=0.7)
    bar.set_label("share of light from the starting form" if by_light else "amount left in the starting form")


def strip_caption(maps: Maps) -> str:
    """What stands under a strip: how to read it, and what it does not tell."""
    by_light = any(row[0].by_light for row in maps.values() if row)
    what = "share of the light" if by_light else "amount"
    note = " Light is not amount: the brighter form shows more than there is of it." if by_light else ""
    return (
        f"Where each sample is still in its starting form: {what} at each place; above each picture the "
        "time, below it the figure of the whole sample. Lines at 0.25, 0.5 and 0.75; hatched: too little "
        "light, or clipped, to tell. Bars: pixels of the photograph. The outermost rim is cut off, and light "
        f"that wanders inside a powder softens every edge.{note}"
    )
