"""The chromaticity diagrams: CIE 1976 u'v' and CIE 1931 xy, with ellipses that hold 95 %."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np

from glowkin.colour.chromaticity import uv_prime_to_xy, xy_to_uv_prime
from glowkin.colour.observer import locus_xy
from glowkin.telling import drawing
from glowkin.telling.crowds import Named, crowds, joined, named
from glowkin.telling.labels import Label, place
from glowkin.telling.match_table import form_spots, mixed_pairs
from glowkin.telling.spots import FORM, Path, Spot, ellipse_uv, paths_of, spots_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from glowkin.base.matches import Matches
    from glowkin.base.records import MeasuredPhoto, TimeCourse
    from glowkin.base.uncertainty import Array

Kind: TypeAlias = Literal["1976", "1931"]

WHOLE_IN: dict[Kind, float] = {"1976": 4.45, "1931": 4.9}
ENLARGED_IN = 2.6

SHAPE = 2.1
"""Width over height of an enlarged place."""

TINTED = 12
"""More ellipses than that are drawn as lines alone."""

MARKS_NM: dict[Kind, tuple[int, ...]] = {
    "1976": (420, 440, 450, 460, 470, 480, 490, 500, 510, 520, 540, 560, 580, 600, 620, 700),
    "1931": (400, 460, 470, 480, 490, 500, 510, 520, 530, 540, 550, 560, 570, 580, 590, 600, 620, 700),
}
_LIMITS: dict[Kind, tuple[float, float, float, float]] = {
    "1976": (-0.06, 0.68, -0.04, 0.65),
    "1931": (-0.09, 0.82, -0.06, 0.92),
}
_AXES: dict[Kind, tuple[str, str]] = {"1976": ("u′", "v′"), "1931": ("x", "y")}


@dataclass(frozen=True)
class Mark:
    """A wavelength on the locus: its point (2,) and the unit direction (2,) away from the inside."""

    wavelength_nm: int
    point: Array
    outward: Array


def chromaticity_diagram(
    photos: Sequence[MeasuredPhoto],
    kind: Kind = "1976",
    course: TimeCourse | None = None,
    matches: Matches | None = None,
) -> Figure:
    """Samples on the diagram with their 95 % ellipses; with a course, the way each condition has gone; with
    matches, the known forms, and lines where mixtures of them lie.

    Below the whole diagram up to two crowded places are drawn larger. The inside is left white: no screen
    or paper can show those colours.
    """
    plane = _Plane(kind, _degrees(photos))
    spots = [*spots_of(photos), *(form_spots(matches) if matches else ())]
    paths = paths_of(course) if course else []
    labels = [] if paths else named(spots)
    close = crowds(labels)
    with drawing.style():
        fig = drawing.blank(WHOLE_IN[kind] + ENLARGED_IN * len(close))
        ax, panels = _panels(fig, WHOLE_IN[kind], len(close))
        _whole(ax, plane, photos, "; arrows: in time" if paths else "; dashed: forms" if matches else "")
        _draw_mixtures([ax, *panels], plane, matches)
        for panel, group, letter in zip(panels, close, "AB", strict=False):
            _enlarge(panel, ax, plane, group, spots, letter)
        if paths:
            _draw_paths(ax, plane, photos, paths)
        else:
            enlarged = {id(label) for group in close for label in group}
            apart = joined([label for label in labels if id(label) not in enlarged])
            _draw_spots(ax, plane, photos, spots, apart, [_corner(plane, group) for group in close])
        for panel, group in zip(panels, close, strict=True):
            place(panel, _labels(plane, group), [*_dots(plane, spots), *_line(plane)])
    return fig


def whole_diagram(
    ax: Axes, uv: Array, covariance: Array, name: str, white_xy: tuple[float, float], degrees: int = 2
) -> None:
    """One chromaticity (2) with its 95 % ellipse on the CIE 1976 diagram."""
    plane, spot = _Plane("1976", degrees), Spot(name, "", uv, covariance, 0)
    _whole(ax, plane, (), "")
    white = Label(*_pair(plane.of_xy(np.array(white_xy))), "white")
    ax.plot(white.x, white.y, marker="+", color=drawing.INK, markersize=9, markeredgewidth=1.4)
    _draw_spot(ax, plane, spot, size=5.0, tint=True)
    label = Label(*_pair(uv), _shorten(name), drawing.colour(0))
    place(ax, [white, label], [*_dots(plane, [spot]), *_edge(plane)])


def _panels(fig: Figure, whole_in: float, n: int) -> tuple[Axes, list[Axes]]:
    """The axes of the whole diagram, and n smaller ones below it."""
    whole, *below = fig.subplots(1 + n, 1, squeeze=False, height_ratios=[whole_in] + n * [ENLARGED_IN])[:, 0]
    return whole, below


@dataclass(frozen=True)
class _Plane:
    kind: Kind
    degrees: int

    def of(self, uv: Array) -> Array:
        return uv if self.kind == "1976" else uv_prime_to_xy(uv)

    def of_xy(self, xy: Array) -> Array:
        return xy_to_uv_prime(xy) if self.kind == "1976" else xy


def _degrees(photos: Sequence[MeasuredPhoto]) -> int:
    return 10 if photos and photos[0].observer == 10 else 2


def locus_marks(kind: Kind, degrees: int = 2) -> list[Mark]:
    """The labelled wavelengths of a diagram and where they stand."""
    plane = _Plane(kind, degrees)
    nm, xy = locus_xy(degrees)
    locus = plane.of_xy(xy)
    centre = plane.of_xy(np.array([1 / 3, 1 / 3]))
    return [_mark(w, locus, int(np.searchsorted(nm, w)), centre) for w in MARKS_NM[kind]]


def _mark(wavelength_nm: int, locus: Array, i: int, centre: Array) -> Mark:
    along = locus[i + 3] - locus[i - 3]
    normal = np.array([-along[1], along[0]]) / np.hypot(*along)
    outward = normal if normal @ (locus[i] - centre) > 0 else -normal
    return Mark(wavelength_nm, locus[i], outward)


def _whole(ax: Axes, plane: _Plane, photos: Sequence[MeasuredPhoto], more: str) -> None:
    x0, x1, y0, y1 = _LIMITS[plane.kind]
    ax.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal")
    ax.set_xlabel(_AXES[plane.kind][0])
    ax.set_ylabel(_AXES[plane.kind][1])
    ax.set_title(f"CIE {plane.kind}, {plane.degrees}° observer; edge in nm{more}", loc="left")
    drawing.quiet_grid(ax)
    _draw_locus(ax, plane)
    _draw_marks(ax, plane)
    for white in _whites(plane, photos):
        ax.plot(white.x, white.y, marker="+", color=drawing.INK, markersize=9, markeredgewidth=1.4)


def _draw_locus(ax: Axes, plane: _Plane) -> None:
    locus = plane.of_xy(locus_xy(plane.degrees)[1])
    ax.plot(*locus.T, color=drawing.INK, linewidth=1.2, label="locus")
    ax.plot(*locus[[0, -1]].T, color=drawing.INK, linewidth=0.9, linestyle=(0, (4, 3)))


def _draw_marks(ax: Axes, plane: _Plane) -> None:
    for mark in locus_marks(plane.kind, plane.degrees):
        ax.plot(
            *np.stack([mark.point, mark.point + 0.008 * mark.outward]).T, color=drawing.INK, linewidth=0.9
        )
        ax.annotate(
            str(mark.wavelength_nm),
            tuple(mark.point),
            xytext=tuple(mark.outward * (15, 11)),
            fontsize=drawing.SMALL_PT,
            textcoords="offset points",
            ha="center",
            va="center",
            color=drawing.FAINT,
        )


def _whites(plane: _Plane, photos: Sequence[MeasuredPhoto]) -> list[Label]:
    """The white points the photographs were measured against, E where there is none."""
    whites = {p.white_point: p.white_point_xy for p in photos} or {"E": (1 / 3, 1 / 3)}
    words = {name: f"white {name}" if len(name) < 8 else "white" for name in whites}
    return [Label(*_pair(plane.of_xy(np.array(xy))), words[name]) for name, xy in whites.items()]


def _draw_spots(
    ax: Axes,
    plane: _Plane,
    photos: Sequence[MeasuredPhoto],
    spots: Sequence[Spot],
    labels: Sequence[Named],
    letters: Sequence[tuple[float, float]],
) -> None:
    for spot in spots:
        _draw_spot(ax, plane, spot, size=5.0, tint=len(spots) <= TINTED)
    taken = [*_dots(plane, spots), *_edge(plane), *letters]
    place(ax, [*_whites(plane, photos), *_labels(plane, labels)], taken)


def _draw_spot(ax: Axes, plane: _Plane, spot: Spot, size: float, tint: bool) -> None:
    colour, form = _colour(spot.number), spot.number == FORM
    edge = plane.of(ellipse_uv(spot))
    inside = (colour, 0.12) if tint and not form else "none"
    ax.fill(
        *edge.T, facecolor=inside, edgecolor=colour, linewidth=1.1, zorder=4, label=f"95 % of {spot.name}",
        linestyle=(0, (3, 2)) if form else "-",
    )  # fmt: skip
    ax.plot(
        *plane.of(spot.uv), marker="*" if form else drawing.marker(spot.number), markersize=size + 5 * form,
        color="white" if form else colour, markeredgecolor=colour if form else "white",
        markeredgewidth=1.1 if form else 0.6, zorder=5, linestyle="none",
    )  # fmt: skip


def _colour(number: int) -> str:
    return drawing.INK if number == FORM else drawing.colour(number)


def _draw_mixtures(axes: Sequence[Axes], plane: _Plane, matches: Matches | None) -> None:
    """Straight lines between the forms that some sample may be a mixture of."""
    if matches is None:
        return
    at = [spot.uv for spot in form_spots(matches)]
    for ax in axes:
        for i, j in mixed_pairs(matches):
            ax.plot(*plane.of(np.stack([at[i], at[j]])).T, color=drawing.FAINT, linewidth=0.9, zorder=3)


def _labels(plane: _Plane, labels: Sequence[Named]) -> list[Label]:
    return [Label(*_pair(plane.of(n.uv)), n.text, _colour(n.number)) for n in labels]


def _shorten(words: str, most: int = 34) -> str:
    return words if len(words) <= most else f"{words[: most - 1]}…"


def _edge(plane: _Plane) -> list[tuple[float, float]]:
    """The locus and its numbers as places where no label may lie."""
    marks = locus_marks(plane.kind, plane.degrees)
    x0, x1, _, _ = _LIMITS[plane.kind]
    numbers = [m.point + m.outward * (x1 - x0) * k for m in marks for k in (0.03, 0.045, 0.06)]
    return [*(_pair(p) for p in numbers), *_line(plane)]


def _line(plane: _Plane) -> list[tuple[float, float]]:
    return [_pair(p) for p in plane.of_xy(locus_xy(plane.degrees)[1])[60:300:2]]


def _dots(plane: _Plane, spots: Sequence[Spot]) -> list[tuple[float, float]]:
    """The boundaries of the ellipses, as places where no label may lie."""
    return [_pair(p) for s in spots for p in plane.of(ellipse_uv(s))[::6]]


def _pair(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _enlarge(
    ax: Axes, whole: Axes, plane: _Plane, group: Sequence[Named], spots: Sequence[Spot], letter: str
) -> None:
    window = _window(plane, group)
    _frame(whole, window, letter)
    ax.set(xlim=window[:2], ylim=window[2:], aspect="equal")
    ax.set_title(f"{letter}, enlarged", loc="left")
    ax.set_xlabel(_AXES[plane.kind][0])
    ax.set_ylabel(_AXES[plane.kind][1])
    ax.locator_params(nbins=3)
    drawing.quiet_grid(ax)
    _draw_locus(ax, plane)
    x0, x1, y0, y1 = window
    for spot in spots:
        x, y = _pair(plane.of(spot.uv))
        if x0 < x < x1 and y0 < y < y1:
            _draw_spot(ax, plane, spot, size=6.0, tint=len(spots) <= TINTED)


def _window(plane: _Plane, group: Sequence[Named]) -> tuple[float, float, float, float]:
    """A frame round the ellipses, of the panel's shape, with room for labels on both sides."""
    edge = np.concatenate([plane.of(ellipse_uv(s)) for label in group for s in label.spots])
    low, high = edge.min(axis=0), edge.max(axis=0)
    (cx, cy), half = (low + high) / 2, 0.75 * max(*(high - low), 0.01)
    wide = SHAPE * half
    return (cx - wide, cx + wide, cy - half, cy + half)


def _corner(plane: _Plane, group: Sequence[Named]) -> tuple[float, float]:
    """Where the letter of an enlarged place stands."""
    _, x1, y0, _ = _window(plane, group)
    left, right, _, _ = _LIMITS[plane.kind]
    return x1 + 0.02 * (right - left), y0 - 0.025 * (right - left)


def _frame(ax: Axes, window: tuple[float, float, float, float], letter: str) -> None:
    x0, x1, y0, y1 = window
    ax.plot([x0, x1, x1, x0, x0], [y0, y0, y1, y1, y0], color=drawing.INK, linewidth=0.8, linestyle=":")
    ax.annotate(
        letter, (x1, y0), xytext=(3, -3), textcoords="offset points", ha="left", va="top", weight="bold"
    )


def _draw_paths(ax: Axes, plane: _Plane, photos: Sequence[MeasuredPhoto], paths: Sequence[Path]) -> None:
    last = {s.name: s for s in spots_of(photos[-1:])}
    for spot in (last[p.names[0]] for p in paths if p.names[0] in last):
        ax.plot(*plane.of(ellipse_uv(spot)).T, color=drawing.FAINT, linewidth=0.6, zorder=2)
    for path in paths:
        _draw_path(ax, plane, path)
    ends = [Label(*_pair(plane.of(p.end)), _shorten(p.words), drawing.colour(p.number)) for p in paths]
    on_the_way = [_pair(p) for path in paths for p in plane.of(path.vials[0])]
    place(ax, [*_whites(plane, photos), *ends], [*on_the_way, *_edge(plane)])


def _draw_path(ax: Axes, plane: _Plane, path: Path) -> None:
    """Each vial as a thin line, a small marker for each photograph, a large one at the last."""
    how: dict[str, Any] = {"color": drawing.colour(path.number), "marker": drawing.marker(path.number)}
    for vial in path.vials:
        ax.plot(*plane.of(vial).T, linewidth=0.7, markersize=2.5, markeredgewidth=0, zorder=4, **how)
    _arrow(ax, plane.of(path.vials[0]), how["color"], 0.3 + 0.15 * (path.number % 4))
    ax.plot(*plane.of(path.end), markersize=7.5, markeredgecolor="white", zorder=5, **how)


def _arrow(ax: Axes, way: Array, colour: str, where: float) -> None:
    """A head at a share of a path's straight length, pointing on; none where the path is hardly longer."""
    whole = way[-1] - way[0]
    if np.hypot(*whole) < 0.03:
        return
    done = (way - way[0]) @ whole / (whole @ whole)
    i = int(np.clip(np.argmax(done >= where), 1, len(way) - 1))
    share = (where - done[i - 1]) / max(done[i] - done[i - 1], 1e-9)
    tip = way[i - 1] + share * (way[i] - way[i - 1])
    head = {"arrowstyle": "-|>", "color": colour, "mutation_scale": 16, "linewidth": 0}
    ax.annotate("", tuple(tip + 0.01 * whole), xytext=tuple(tip), arrowprops=head, zorder=5)
