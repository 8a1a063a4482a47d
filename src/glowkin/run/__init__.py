"""One map over many photographs."""

from glowkin.run.many import Outcome
from glowkin.run.many import map_photos as map  # noqa: A004 - the documented name, glowkin.run.map

__all__ = ["Outcome", "map"]
