"""One map over many photographs."""

from glowkin.run.many import map_photos as map  # noqa: A004 - the documented name, glowkin.run.map
from glowkin.run.outcome import Outcome
from glowkin.run.pool import WorkLimits

__all__ = ["Outcome", "WorkLimits", "map"]
