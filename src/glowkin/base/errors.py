"""The few errors glowkin raises on purpose; each message names the file, what is wrong and the mend."""

from __future__ import annotations


class GlowkinError(Exception):
    """Anything glowkin says no to."""


class CannotReadError(GlowkinError):
    """A file is missing, broken, or of a kind that cannot be read."""


class CannotMeasureError(GlowkinError):
    """The files were read, but do not support the measurement asked for."""


class WrongUseError(GlowkinError):
    """An option or argument that makes no sense."""
