"""The sole decoder: from a path to a photograph."""

from __future__ import annotations

import hashlib
from pathlib import Path

from glowkin.base.errors import CannotReadError
from glowkin.light.jpeg import decode_jpeg
from glowkin.light.photo import RAW_SUFFIXES, RENDERED_SUFFIXES, Limits, Photograph
from glowkin.light.raw import decode_raw


def open_photo(path: str | Path, limits: Limits | None = None) -> Photograph:
    """Decode one JPEG or raw file; CannotReadError says what is wrong and what to do."""
    path = Path(path)
    limits = limits or Limits()
    data = _read(path, limits)
    digest = hashlib.sha256(data).hexdigest()
    suffix = path.suffix.lower()
    if data[:3] == b"\xff\xd8\xff":
        return decode_jpeg(path, data, digest, limits)
    if suffix in RAW_SUFFIXES:
        return decode_raw(path, data, digest, limits)
    if suffix in RENDERED_SUFFIXES:
        raise CannotReadError(
            f"{path}: not a JPEG file in spite of its name; export it from the camera again"
        )
    raise CannotReadError(f"{path}: not a JPEG or raw (DNG) photograph; export it as one of these")


def _read(path: Path, limits: Limits) -> bytes:
    if path.is_dir():
        raise CannotReadError(f"{path}: is a folder; name the photographs in it")
    try:
        if path.stat().st_size > limits.max_bytes:
            raise CannotReadError(
                f"{path}: larger than {limits.max_bytes // 1_000_000} MB; export it smaller"
            )
        data = path.read_bytes()
    except FileNotFoundError:
        raise CannotReadError(f"{path}: no such file; check the name and the folder") from None
    except OSError as error:
        raise CannotReadError(
            f"{path}: cannot be opened ({error.strerror}); check its permissions"
        ) from error
    if not data:
        raise CannotReadError(f"{path}: is empty; copy it from the camera again")
    return data
