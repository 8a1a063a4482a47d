"""The photograph with its samples outlined and named, and swatches of their colours."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.colour.chromaticity import xyY_to_XYZ
from glowkin.colour.spaces import XYZ_to_srgb_display, srgb_decode, srgb_encode
from glowkin.telling import drawing
from glowkin.telling.labels import best_box
from glowkin.telling.naming import base_name

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from glowkin.base.records import MeasuredPhoto, Sample
    from glowkin.base.uncertainty import Array
    from glowkin.telling.labels import Box

SWATCH_ROW_IN = 0.62

ONE_COLUMN = 8
"""More swatches than that stand in two columns."""
FULL = 0.98
"""Swatches are nearly as bright as the display can show them."""

BELOW = -np.pi / 2

TAG_PAD, TAG_REACH_PT = 1.0, 24.0

DIM = 0.02
"""A luminance at which no chromaticity inside the screen's triangle is too bright for it (white is 1)."""


def annotated_photograph(photo: MeasuredPhoto, picture_rgb_uint8: NDArray[np.uint8]) -> Figure:
    """The picture (h, w, 3; any size, same framing as the photograph) with each sample's outline and name.

    Outlines are those that were measured; black beneath white, so that they show on any colour. Dotted:
    bright places that are no samples.
    """
    height, width = picture_rgb_uint8.shape[:2]
    with drawing.style():
        fig = drawing.blank(drawing.WIDTH_IN * height / width + 0.05)
        fig.set_layout_engine("none")
        ax = fig.add_axes((0.0, 0.0, 1.0, 1.0))
        ax.imshow(picture_rgb_uint8, interpolation="antialiased", aspect="auto")
        ax.set_axis_off()
        ax.set(xlim=(-0.5, width - 0.5), ylim=(height - 0.5, -0.5))
        scale = width / photo.size_px[0]
        for rejected in photo.rejected:
            _dotted(ax, np.array(rejected.outline_px, dtype=float).reshape(-1, 2), scale)
        for sample in photo.samples:
            _outline(ax, np.array(sample.outline_px, dtype=float).reshape(-1, 2), scale)
        _names(ax, photo.samples, scale)
    return fig


def _outline(ax: Axes, outline_px: Array, scale: float) -> None:
    if not len(outline_px):
        return
    edge = to_preview(np.concatenate([outline_px, outline_px[:1]]), scale)
    ax.plot(*edge.T, color="black", linewidth=2.8)
    ax.plot(*edge.T, color="white", linewidth=1.2)


def _dotted(ax: Axes, outline_px: Array, scale: float) -> None:
    """What is no sample: a thin dotted line, to be told from an outline without colours."""
    edge = to_preview(np.concatenate([outline_px, outline_px[:1]]), scale)
    ax.plot(*edge.T, color="black", linewidth=0.9)
    ax.plot(*edge.T, color="white", linewidth=0.9, linestyle=(0, (1, 2.5)))


def to_preview(pixels: Array, scale: float) -> Array:
    """Pixels (n, 2) of the full picture in a smaller one; the centre of the first pixel is (0, 0) in both."""
    return np.asarray((pixels + 0.5) * scale - 0.5)


def _names(ax: Axes, samples: Sequence[Sample], scale: float) -> None:
    """Names beside the outlines, clear of every outline and of each other."""
    to_points = _points(ax)
    (x0, y0), (x1, y1) = to_points(
        np.array([[ax.get_xlim()[0], ax.get_ylim()[0]], [ax.get_xlim()[1], ax.get_ylim()[1]]])
    )
    taken = [_around(to_points(_corners(s, scale))) for s in samples]
    for sample, around in zip(samples, list(taken), strict=True):
        foot = ((around[0] + around[2]) / 2, around[1])
        box = best_box(
            *foot,
            sample.name,
            taken,
            (float(x0), float(y0), float(x1), float(y1)),
            BELOW,
            TAG_PAD,
            TAG_REACH_PT,
        )
        taken.append(box)
        _tag(ax, sample, scale, ((box[0] + box[2]) / 2 - foot[0], (box[1] + box[3]) / 2 - foot[1]))


def _points(ax: Axes) -> Callable[[Array], Array]:
    """From pixels of the picture to points of the figure."""
    per_dot = 72.0 / drawing.root(ax).dpi
    return lambda pixels: np.asarray(ax.transData.transform(pixels) * per_dot)


def _corners(sample: Sample, scale: float) -> Array:
    """The outline in the preview, or the centre of a sample without one."""
    return to_preview(np.array(sample.outline_px or (sample.centre_px,), dtype=float).reshape(-1, 2), scale)


def _around(points: Array) -> Box:
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return (float(x0), float(y0), float(x1), float(y1))


def _tag(ax: Axes, sample: Sample, scale: float, offset: tuple[float, float]) -> None:
    """White on black, a line back to the outline's lower edge where the name stands off."""
    corners = _corners(sample, scale)
    foot = ((corners[:, 0].min() + corners[:, 0].max()) / 2, corners[:, 1].max())
    far = abs(offset[1]) > 20 or abs(offset[0]) > 4.0 * len(sample.name)
    ax.annotate(
        sample.name,
        foot,
        xytext=offset,
        textcoords="offset points",
        fontsize=drawing.SMALL_PT,
        color="white",
        ha="center",
        va="center",
        arrowprops={"arrowstyle": "-", "color": "white", "linewidth": 0.8} if far else None,
        bbox={"boxstyle": "round,pad=0.15", "facecolor": "black", "edgecolor": "none", "alpha": 0.75},
        parse_math=False,
    )


def swatches(photo: MeasuredPhoto) -> Figure:
    """Each sample's chromaticity as near as a display comes to it, as bright as it can show it.

    Where the display cannot show the chromaticity, the swatch is hatched and says so. How bright the samples
    were is not shown.
    """
    samples = [s for s in photo.samples if s.x is not None and s.y is not None]
    columns = 1 if len(samples) <= ONE_COLUMN else 2
    rows = max(-(-len(samples) // columns), 1)
    with drawing.style():
        fig = drawing.blank(SWATCH_ROW_IN * rows + 0.5)
        ax = fig.subplots()
        ax.set(xlim=(0, 10), ylim=(rows, -0.1))
        ax.set_axis_off()
        ax.set_title(f"Colours in {base_name(photo.path)}, as near as a screen comes", loc="left")
        for i, sample in enumerate(samples):
            _swatch(ax, 10 / columns * (i // rows), i % rows, 3.0 / columns, sample)
        if not samples:
            drawing.say(ax, 0.0, 0.5, "No sample has a colour to show.")
    return fig


def _swatch(ax: Axes, x: float, row: int, width: float, sample: Sample) -> None:
    from matplotlib.patches import Rectangle

    rgb, shown = screen_colour(float(sample.x or 0), float(sample.y or 0))
    outline: dict[str, Any] = {"edgecolor": drawing.INK, "linewidth": 0.6}
    ax.add_patch(Rectangle((x, row), width, 0.84, facecolor=rgb, **outline))
    if not shown:
        hatched = Rectangle((x + 0.6 * width, row), 0.4 * width, 0.84, facecolor=rgb, hatch="////")
        hatched.set(edgecolor="white", linewidth=0)
        ax.add_patch(hatched)
        ax.add_patch(Rectangle((x, row), width, 0.84, fill=False, **outline))
    says = "inside this screen's gamut (sRGB)" if shown else "outside this screen's gamut:\nshown desaturated"
    if width < 3:
        says = says.replace("side this screen's", "side").replace(" (sRGB)", "")
    small: dict[str, Any] = {"fontsize": drawing.SMALL_PT, "color": drawing.FAINT}
    ax.text(x + width + 0.2, row + 0.16, sample.name, va="center", parse_math=False)
    ax.text(x + width + 0.2, row + 0.58, says, va="center", linespacing=1.0, **small)


def screen_colour(x: float, y: float) -> tuple[tuple[float, float, float], bool]:
    """An xy as encoded sRGB (0 to 1) at the greatest luminance it allows, and whether it is in the gamut.

    The gamut meant is that of chromaticity: dim enough, a colour within the triangle can always be shown.
    """
    encoded, shown = XYZ_to_srgb_display(xyY_to_XYZ(np.array([x, y, DIM])))
    light = srgb_decode(encoded)
    red, green, blue = srgb_encode(light / max(float(light.max()), 1e-12) * FULL)
    return (float(red), float(green), float(blue)), bool(shown)
