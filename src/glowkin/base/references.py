"""Records of reference glows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ReferenceRead:
    """A reference glow: its sample, what it is, its known colour and the one inferred before it was used; how
    far apart they are, how far errors allow; whether that is too far, and whether it re-centred the camera.
    """

    sample: str
    glow: str
    known_u_prime: float
    known_v_prime: float
    inferred_u_prime: float
    inferred_v_prime: float
    deviation_u_prime_v_prime: float
    allowed_u_prime_v_prime: float
    off: bool
    recentred: bool
