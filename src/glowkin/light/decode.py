"""The sole decoder: from a path to a photograph. What a file is, its first bytes say, not its name."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError, GlowkinError
from glowkin.light import boxes, png, tiff
from glowkin.light.jpeg import decode_jpeg
from glowkin.light.photo import RAW_SUFFIXES, Limits, Photograph
from glowkin.light.quiet import quiet
from glowkin.light.raw import decode_raw
from glowkin.light.still import decode_still

if TYPE_CHECKING:
    from collections.abc import Callable

READABLE = "JPEG, PNG, TIFF, HEIC, AVIF or camera raw (DNG)"
_RAW_STARTS = (b"IIRO", b"IIRS", b"MMOR", b"IIU\x00", b"FUJIFILMCCD-RAW", b"\x00MRM", b"II\x1a\x00", b"FOVb")
_NO_PHOTOGRAPHS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF document; save the photograph itself from it"),
    (b"\x1a\x45\xdf\xa3", "a video; photograph single pictures"),
    (b"\x00\x00\x01\xba", "a video; photograph single pictures"),
    (b"GIF8", "a GIF picture, which holds 256 colours; send the camera's own file"),
    (b"BM", "a BMP picture; save it as PNG"),
    (b"8BPS", "an editor's layered file; save it as TIFF with 16 bits"),
    (b"\xff\x0a", "a JPEG XL picture; save it as PNG with 16 bits"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture; save it as PNG with 16 bits"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture; save it as PNG with 16 bits"),
    (b"PK\x03\x04", "a zip archive; unpack it and name the photographs"),
    (b"\x1f\x8b", "a packed file; unpack it and name the photographs"),
)
_TOO_LARGE = "does not fit in the memory; crop it or export it smaller"
_HEAD = 4096
_VIDEO_BOXES = (b"moov", b"mdat", b"wide", b"free", b"skip", b"ftyp")


def open_photo(path: str | Path, limits: Limits | None = None) -> Photograph:
    """Decode one photograph of any kind in ``READABLE``.

    CannotReadError says what is wrong and what to do, whatever the bytes are: this is the border behind
    which foreign decoders may raise anything. It cannot help against one that crashes or hangs; for
    that, ``glowkin.run.map`` and the commands decode in a process of their own.
    """
    path = Path(path)
    limits = limits or Limits()
    data = _read(path, limits)
    try:
        with quiet():
            return _decoder(path, data)(path, data, hashlib.sha256(data).hexdigest(), limits)
    except GlowkinError:
        raise
    except MemoryError:
        raise CannotReadError(f"{path}: {_TOO_LARGE}") from None
    except Exception as error:
        if "nsufficient memory" in str(error):  # as OpenCV has it
            raise CannotReadError(f"{path}: {_TOO_LARGE}") from error
        raise CannotReadError(f"{path}: a broken file; copy it from the camera again") from error


def check_kind(path: Path) -> None:
    """Raise CannotReadError where a file's first bytes are of no kind in ``READABLE``; nothing is decoded."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError as error:
        raise CannotReadError(
            f"{path}: cannot be opened ({error.strerror}); check its permissions"
        ) from error
    if not head:
        raise CannotReadError(f"{path}: is empty; copy it from the camera again")
    _decoder(path, head)


def _decoder(path: Path, data: bytes) -> Callable[[Path, bytes, str, Limits], Photograph]:
    """What reads a file of these bytes; CannotReadError where nothing does."""
    if data[:3] == b"\xff\xd8\xff":
        return decode_jpeg
    if data.startswith(png.SIGNATURE):
        return png.decode_png
    if data.startswith(tiff.SIGNATURES):
        return _decode_tiff_or_raw
    if boxes.brand(data) in boxes.STILL_BRANDS + boxes.SEQUENCE_BRANDS:
        return decode_still
    if data.startswith(_RAW_STARTS) or boxes.brand(data) == b"crx " or path.suffix.lower() in RAW_SUFFIXES:
        return decode_raw
    raise CannotReadError(f"{path}: {_what_else(data)}")


def _decode_tiff_or_raw(path: Path, data: bytes, digest: str, limits: Limits) -> Photograph:
    """Most makers' raw files are TIFF files too; a broken one is judged by its name."""
    try:
        pages = tiff.pages(data)
    except Exception as error:
        if path.suffix.lower() in RAW_SUFFIXES:
            return decode_raw(path, data, digest, limits)
        raise CannotReadError(f"{path}: a broken TIFF file; copy it from the camera again") from error
    named_raw = path.suffix.lower() in RAW_SUFFIXES
    if tiff.is_raw(pages) or data[8:10] == b"CR" or (named_raw and not tiff.has_picture(pages)):
        return decode_raw(path, data, digest, limits)
    return tiff.decode_tiff(path, data, pages, digest, limits)


def _what_else(data: bytes) -> str:
    """What a file that is no photograph seems to be, and the mend."""
    for start, words in _NO_PHOTOGRAPHS:
        if data.startswith(start):
            return words
    if data[4:8] in _VIDEO_BOXES or (data[:4] == b"RIFF" and data[8:12] == b"AVI "):
        return "a video; photograph single pictures"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "a WebP picture, as messengers make them; send the camera's own file"
    if not set(data[:1000]) - set(range(32, 256)) - set(b"\t\r\n\f"):
        return "holds text, no picture; name the photographs"
    return f"not a {READABLE} photograph; export it as one of these"


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
