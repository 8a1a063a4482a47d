"""What every figure shares: size, colours, markers, and files that come out the same each time."""

from __future__ import annotations

import io
import re
import warnings
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN = 4.8
"""One column: 10 pt text stays readable at a phone's width as well as in print."""

TEXT_PT = 10.0
SMALL_PT = 9.0
INK = "#1a1a1a"
FAINT = "#6b6b6b"

# Okabe & Ito, "Color Universal Design" (2008), without the yellow, which is lost on white paper.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000", "#56B4E9", "#E69F00")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "p", "h", "<", ">", "*")

_STYLE: dict[str, Any] = {
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": TEXT_PT,
    "axes.titlesize": TEXT_PT,
    "axes.labelsize": TEXT_PT,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "legend.fontsize": SMALL_PT,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "svg.fonttype": "none",
    "svg.hashsalt": "glowkin",
    "text.parse_math": False,
}
_GROWN: ContextVar[tuple[float, float]] = ContextVar("grown", default=(1.0, float("inf")))
_NO_METADATA = {"Date": None, "Creator": None, "Format": None, "Type": None}


@contextmanager
def style() -> Iterator[None]:
    """Our settings for as long as a figure is made or written, whatever the user's own are.

    Names may hold signs the font lacks; a box in their place is no reason for a warning.
    """
    import matplotlib as mpl

    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        mpl.rcParams.update(cast("Any", _STYLE))
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def blank(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """An empty white figure, outside pyplot's memory; larger within ``grown``, text staying as it is."""
    from matplotlib.figure import Figure

    factor, tallest_in = _GROWN.get()
    factor = max(1.0, min(factor, tallest_in / height_in))
    size = width_in * factor, height_in * factor
    return Figure(figsize=size, facecolor="white", layout="constrained")


@contextmanager
def grown(factor: float, tallest_in: float) -> Iterator[None]:
    """Figures made meanwhile are that many times as wide and high, unless they would be higher than that."""
    before = _GROWN.set((factor, tallest_in))
    try:
        yield
    finally:
        _GROWN.reset(before)


def root(ax: Axes) -> Figure:
    """The figure that holds these axes."""
    fig = ax.get_figure(root=True)
    if fig is None:
        raise ValueError("these axes belong to no figure")
    return fig


def colour(i: int) -> str:
    """The i-th colour, starting over after the last."""
    return COLOURS[i % len(COLOURS)]


def marker(i: int) -> str:
    """The i-th marker shape, starting over after the last."""
    return MARKERS[i % len(MARKERS)]


def quiet_grid(ax: Axes) -> None:
    """Thin grid lines behind everything."""
    ax.set_axisbelow(True)
    ax.grid(visible=True, color="#e4e4e4", linewidth=0.6)


def say(ax: Axes, x: float, y: float, words: str, **how: Any) -> None:
    """Small words at axes coordinates, for a panel that has something to tell instead of a curve."""
    ax.text(x, y, words, transform=ax.transAxes, fontsize=SMALL_PT, color=how.pop("color", FAINT), **how)


def svg(fig: Figure, prefix: str) -> str:
    """The figure as an ``<svg>`` element for a page; equal figures give equal text.

    Every id starts with the prefix, so that two figures on one page never share one. The XML and document
    type lines, and all metadata, are left out.
    """
    buffer = io.StringIO()
    with style():
        fig.savefig(buffer, format="svg", metadata=_NO_METADATA)
    text = buffer.getvalue()
    text = re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r'(\bid=")', rf"\g<1>{prefix}-", text)
    return re.sub(r'((?:xlink:)?href="#|url\(#)', rf"\g<1>{prefix}-", text)


def save(fig: Figure, path: Path) -> Path:
    """Write the figure as .svg or .png (200 dpi), the file complete or not there."""
    from glowkin.base.files import write_whole

    if path.suffix == ".svg":
        head = '<?xml version="1.0" encoding="utf-8"?>\n'
        return write_whole(path, (head + svg(fig, path.stem)).encode())
    return write_whole(path, png(fig))


def png(fig: Figure, dpi: float = 200, told_dpi: int | None = None) -> bytes:
    """The figure as the content of a PNG file, which tells another resolution where it is to be scaled."""
    buffer, how = io.BytesIO(), {"compress_level": 3}
    with style():
        fig.savefig(
            buffer, format="png", dpi=dpi, metadata={"Software": None},
            pil_kwargs=how if told_dpi is None else {**how, "dpi": (told_dpi, told_dpi)},
        )  # fmt: skip
    return buffer.getvalue()
