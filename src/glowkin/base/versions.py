"""The versions of what computed, for records and camera files."""

from __future__ import annotations

import sys
from importlib.metadata import version

_PACKAGES = (
    "numpy", "scipy", "colour-science", "opencv-python-headless", "scikit-image", "rawpy", "simplejpeg",
    "tifffile", "imagecodecs", "pi-heif", "matplotlib", "molmass",
)  # fmt: skip


def versions() -> dict[str, str]:
    """Version by name, of Python and of the packages that figures depend on."""
    return {"Python": sys.version.split()[0], **{name: version(name) for name in _PACKAGES}}
