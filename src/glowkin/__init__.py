"""glowkin turns photographs of samples glowing under a UV lamp into defensible colour measurements.

>>> import glowkin
>>> glowkin.__version__
'0.1.0'
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from glowkin.api import check, compare, match, measure, prepare, spectrum, track
    from glowkin.camera.emission import Camera
    from glowkin.studies import Study

__version__ = "0.1.0"
__all__ = [
    "Camera", "Study", "__version__", "check", "compare", "match", "measure", "prepare", "spectrum", "track",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """The doors load their rooms when first used, so that ``import glowkin`` costs nothing."""
    if name == "Camera":
        from glowkin.camera.emission import Camera

        return Camera
    if name == "Study":
        from glowkin.studies import Study

        return Study
    if name in __all__:
        from glowkin import api

        return getattr(api, name)
    raise AttributeError(f"module 'glowkin' has no attribute {name!r}")
