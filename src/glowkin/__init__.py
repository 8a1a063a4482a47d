"""glowkin turns photographs of samples glowing under a UV lamp into defensible colour measurements."""

from __future__ import annotations

__version__ = "0.1.0"
