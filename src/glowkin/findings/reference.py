"""What the reference glows of a photograph say, as records."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.references import ReferenceRead
from glowkin.camera.glows import known_glow
from glowkin.camera.reference import against_known

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import MeasuredPhoto, Sample
    from glowkin.base.uncertainty import Array
    from glowkin.camera.glows import Glow
    from glowkin.camera.reference import Checked

OFF_FLAG = "reference-off"


def reference_records(checks: Sequence[Checked], observer: int) -> tuple[ReferenceRead, ...]:
    """One record a reference; the camera was re-centred by those that are not off."""
    return tuple(
        _record(c.seen.sample, c.seen.glow, c.uv_prime, c.away, observer, off=c.off, moved=not c.off)
        for c in checks
    )


def reference_flags(checks: Sequence[Checked]) -> tuple[str, ...]:
    """That a reference is off, or that the camera is unlike what was known of it."""
    unlike = any(c.stretched > 1.0 and not c.off for c in checks)
    return (
        *((OFF_FLAG,) if any(c.off for c in checks) else ()),
        *(("camera-unlike-prior",) if unlike else ()),
    )


def with_references(photo: MeasuredPhoto, references: Sequence[tuple[str, str]]) -> MeasuredPhoto:
    """A measured photograph whose references are checked by their records; the camera stays as it is."""
    seen = [(s, known_glow(kind)) for name, kind in references if (s := photo.sample(name)) is not None]
    read = tuple(_by_record(s, glow, photo.observer) for s, glow in seen if s.u_prime is not None)
    off = any(r.off for r in read) and OFF_FLAG not in photo.flags
    return replace(photo, references=read, flags=(*photo.flags, *((OFF_FLAG,) if off else ())))


def _by_record(sample: Sample, glow: Glow, observer: int) -> ReferenceRead:
    uv = np.array([sample.u_prime, sample.v_prime], dtype=float)
    away = against_known(glow, uv, np.array(sample.u_prime_v_prime_covariance), observer)
    return _record(sample.name, glow, uv, away, observer, off=away[0] > away[1], moved=False)


def _record(
    sample: str, glow: Glow, uv: Array, away: tuple[float, float], observer: int, *, off: bool, moved: bool
) -> ReferenceRead:
    known = glow.uv_prime[observer][0]
    return ReferenceRead(
        sample=sample,
        glow=glow.name,
        known_u_prime=float(known[0]),
        known_v_prime=float(known[1]),
        inferred_u_prime=float(uv[0]),
        inferred_v_prime=float(uv[1]),
        deviation_u_prime_v_prime=away[0],
        allowed_u_prime_v_prime=away[1],
        off=bool(off),
        recentred=moved,
    )
