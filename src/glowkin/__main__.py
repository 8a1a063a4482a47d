"""``python -m glowkin``, where the folder of installed commands is not on the path."""

from __future__ import annotations

from glowkin.cli import run

run()
