"""What becomes of bent files: bytes flipped, cut and overwritten, in every format, read in worker processes.

    python benchmarks/bent_files.py [FILES_OF_EACH_FORMAT]

Prints, for each format, how many came back as a photograph, as a sentence of the decoder, and how many cost a
worker: crashed, timed out, or out of memory. Anything else is listed. The same seed gives the same files.
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
from collections import Counter
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import tifffile
from PIL import Image

from glowkin.light.decode import open_photo
from glowkin.light.photo import Limits
from glowkin.run import WorkLimits
from glowkin.run.many import map_photos
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import dng_bytes
from glowkin.scene.render import photograph
from glowkin.scene.stage import two_reds_and_green

KEPT = Path(__file__).parents[1] / "tests" / "light" / "data"
WORKER = {
    "crashed": "its decoder crashed",
    "timed out": "was given up",
    "out of memory": "out of memory|does not fit in the memory",
}
SENTENCE = r"broken|copy it|export it|save it|convert it|send the camera|too small|crop it|text file|a video"


def saved(codes, kind, **options):
    out = io.BytesIO()
    Image.fromarray(codes).save(out, kind, **options)
    return out.getvalue()


def tiff(codes, **options):
    out = io.BytesIO()
    tifffile.imwrite(out, codes, photometric="rgb", **options)
    return out.getvalue()


def ten_bits(codes):
    options = [cv2.IMWRITE_AVIF_DEPTH, 10]
    return cv2.imencode(".avif", codes.astype(np.uint16) * 4, options)[1].tobytes()


def formats():
    """A small file of each format."""
    shot = photograph(two_reds_and_green((240, 160)), default_camera(), np.random.default_rng(1))
    y, x = np.mgrid[:128, :192]
    codes = np.stack([x, 255 - y, (x + y) // 2], axis=2).astype(np.uint8)
    exif = Image.Exif()
    exif[0x010F] = "Made Up"
    exif.get_ifd(0x8769)[0x9003] = "2026:05:04 13:30:00"
    return {
        "JPEG": saved(codes, "JPEG", exif=exif.tobytes()),
        "JPEG, progressive": saved(codes, "JPEG", progressive=True),
        "PNG": saved(codes, "PNG", exif=exif.tobytes()),
        "TIFF": tiff(codes),
        "TIFF, LZW": tiff(codes, compression="lzw", tile=(32, 32)),
        "TIFF, deflate": tiff(codes.astype(np.uint16) * 257, compression="zlib", predictor=True),
        "TIFF, zstd": tiff(codes, compression="zstd"),
        "TIFF, JPEG": tiff(codes, compression="jpeg"),
        "HEIC": (KEPT / "turned_6.heic").read_bytes(),
        "HEIC, 10 bits": (KEPT / "10bit_lossy.heic").read_bytes(),
        "AVIF": saved(codes, "AVIF", exif=exif.tobytes()),
        "AVIF, 10 bits": ten_bits(codes),
        "DNG": dng_bytes(shot),
    }


def bent(data, rng):
    """The file with a few bytes changed, most often near its beginning, or a piece of it gone."""
    out = bytearray(data)
    span = len(out) if rng.random() < 0.5 else min(len(out), 2000)
    for at in rng.integers(0, span, 1 + rng.integers(8)):
        out[at] = rng.integers(256)
    if rng.random() < 0.3:
        a, b = sorted(rng.integers(0, len(out), 2))
        del out[a : min(b, a + 300)]
    return bytes(out) if rng.random() < 0.8 else bytes(out[: rng.integers(1, len(out))])


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    work = partial(open_photo, limits=Limits(max_pixels=2_000_000))
    with tempfile.TemporaryDirectory() as folder:
        for name, data in formats().items():
            rng = np.random.default_rng(11)
            paths = [Path(folder) / f"{i}{'.dng' if name == 'DNG' else ''}" for i in range(count)]
            for path in paths:
                path.write_bytes(bent(data, rng))
            told = Counter()
            for outcome in map_photos(work, paths, 2, WorkLimits(seconds=10, bytes=1 << 30)):
                told[fate(outcome)] += 1
            print(f"{name:18}", "; ".join(f"{k}: {n}" for k, n in told.most_common()))


def fate(outcome):
    """In a word, or the sentence itself where it is none that we know."""
    if outcome.message is None:
        return "photograph"
    for word, words in WORKER.items():
        if re.search(words, outcome.message):
            return word
    said = outcome.message.removeprefix(f"{outcome.path}: ")
    return "sentence" if re.search(SENTENCE, said) else said


if __name__ == "__main__":
    main()
