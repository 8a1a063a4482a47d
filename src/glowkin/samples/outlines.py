"""Outlines from and to a file: GeoJSON polygons (RFC 7946) whose coordinates are pixels of the photograph."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import CannotReadError
from glowkin.base.names import broken

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.records import Matrix, MeasuredPhoto

Outline = tuple[tuple[float, float], ...]


def read_outlines(path: Path) -> tuple[tuple[Outline, ...], tuple[str, ...]]:
    """Outlines in the file's order, and their names where every feature has a property ``name``."""
    try:
        document = json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise CannotReadError(f"{path}: no such file; check the name and the folder") from None
    except OSError as error:
        raise CannotReadError(f"{path}: cannot be read ({error.strerror}); name a GeoJSON file") from error
    except UnicodeDecodeError as error:
        raise CannotReadError(f"{path}: not a GeoJSON file (no text); save polygons as GeoJSON") from error
    except ValueError as error:
        raise CannotReadError(f"{path}: not a GeoJSON file ({error}); save polygons as GeoJSON") from error
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list) or not features:
        raise CannotReadError(f"{path}: holds no features; a GeoJSON FeatureCollection of Polygons is needed")
    features = [f for f in features if not _properties(f).get("rejected")]
    if not features:
        raise CannotReadError(f"{path}: holds only what was rejected; draw the outline of a sample in it")
    outlines = tuple(_outline(path, number, feature) for number, feature in enumerate(features, 1))
    names = tuple(str(_properties(f).get("name", "")) for f in features)
    if all(names) and len(set(names)) < len(names):
        raise CannotReadError(f"{path}: two features have the same name; give every sample a name of its own")
    if all(names) and (odd := broken(names)):
        raise CannotReadError(f"{path}: the name {odd}; leave it out")
    return outlines, names if all(names) else ()


def _properties(feature: Any) -> dict[str, Any]:
    found = feature.get("properties") if isinstance(feature, dict) else None
    return found if isinstance(found, dict) else {}


def outlines_text(photo: MeasuredPhoto) -> str:
    """The samples of a measured photograph as GeoJSON, to be changed and read again.

    What was rejected follows with its reason; ``read_outlines`` passes over it.
    """
    samples = [_feature(s.outline_px, {"name": s.name}) for s in photo.samples]
    rejected = [_feature(r.outline_px, {"rejected": r.reason}) for r in photo.rejected]
    return json.dumps({"type": "FeatureCollection", "features": samples + rejected}, indent=1) + "\n"


def _feature(outline_px: Matrix, properties: dict[str, str]) -> dict[str, Any]:
    ring = [[round(c, 1) for c in corner] for corner in (*outline_px, *outline_px[:1])]
    geometry = {"type": "Polygon", "coordinates": [ring]}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _outline(path: Path, number: int, feature: Any) -> Outline:
    """The outer ring of one Polygon feature, its closing point dropped."""
    try:
        geometry = feature["geometry"]
        ring = [(float(x), float(y)) for x, y, *_ in geometry["coordinates"][0]]
    except (TypeError, KeyError, ValueError, IndexError):
        ring, geometry = [], {}
    if not all(math.isfinite(c) and abs(c) < 1e6 for corner in ring for c in corner):
        raise CannotReadError(f"{path}: feature {number} has a corner that is no pixel of any photograph")
    if geometry.get("type") != "Polygon" or len(set(ring)) < 3:
        raise CannotReadError(f"{path}: feature {number} is not a Polygon of at least three corners")
    if len(geometry["coordinates"]) > 1:
        raise CannotReadError(
            f"{path}: feature {number} has a hole; outline one part of the sample without it"
        )
    return tuple(ring[:-1] if ring[0] == ring[-1] else ring)
