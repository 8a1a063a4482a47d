"""Writes the HEIC files beside it, by hand, with pillow-heif: python write_heic.py

They are kept as files because the only encoder at hand is under a licence (GPL) that glowkin does not
depend on, not even for its tests. The pictures are the formula of ``chart`` in ``tests/chart.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pillow_heif
from PIL import Image

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1]))

from chart import chart, exif_block, profile  # noqa: E402

LOSSLESS = {"quality": -1, "chroma": 444, "matrix_coefficients": 0}


def write(name, bits=8, *, mode="RGB", **options):
    codes = chart(bits)
    if mode == "RGBA":
        import numpy as np

        alpha = np.full((*codes.shape[:2], 1), 255, codes.dtype)
        alpha[:4] = options.pop("opacity")
        codes = np.concatenate([codes, alpha], axis=2)
    if mode == "L":
        codes = codes[..., 0]
    if bits > 8:
        mode, codes = f"{mode};16", codes << (16 - bits)
        pillow_heif.options.SAVE_HDR_TO_12_BIT = bits == 12
    picture = pillow_heif.from_bytes(mode=mode, size=codes.shape[1::-1], data=codes.tobytes())
    picture.save(HERE / f"{name}.heic", **{**LOSSLESS, **options})


def main():
    write("8bit")
    write("10bit", 10)
    write("12bit", 12)
    write("10bit_lossy", 10, quality=95, chroma=420, matrix_coefficients=6)
    write("code_points_p3", color_primaries=12, transfer_characteristics=13)
    write("code_points_pq", 10, color_primaries=9, transfer_characteristics=16)
    write("grey", mode="L", chroma=420, matrix_coefficients=6)
    write("opaque", mode="RGBA", opacity=255)
    write("transparent", mode="RGBA", opacity=40)
    pillow_heif.register_heif_opener()
    for orientation in (1, 2, 3, 4, 5, 6, 7, 8):
        block = exif_block(orientation)
        Image.fromarray(chart(8)).save(
            HERE / f"turned_{orientation}.heic",
            "HEIF",
            exif=block,
            icc_profile=profile("Display P3"),
            **LOSSLESS,
        )


if __name__ == "__main__":
    main()
