"""Whether rendered photographs with one known fault are told by that fault, and good ones are left alone.

    python benchmarks/faults.py [SCENES] [--first 1000] [--fault NAME ...] [--strength S ...] [--show]

For each fault, strength and kind of file: how often the right cause is named first (the kind of file itself
counts as a cause), how often it is named at all, and what was named first instead. Scenes of 1 to 12 samples,
of three sizes and three cameras; what takes others to compare with gets 5 samples at least.
"""

from __future__ import annotations

import argparse
import tempfile
import zlib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from glowkin.base.settings import Settings
from glowkin.recipes import check, check_series
from glowkin.scene.cameras import default_camera, luther_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.faults import (
    FAULTS,
    SERIES_FAULTS,
    STRENGTHS,
    competent,
    lamp_off_of,
    sent_by_messenger,
    series_with_fault,
    with_fault,
)

CAUSE = {
    "overexposed": "clipped", "underexposed": "underexposed", "noisy": "noisy",
    "out of focus": "out-of-focus", "shaken": "shaken", "flicker banding": "flicker-banding",
    "lamp hot spot": "lamp-hot-spot",
    "vignetting": "vignetting", "lamp violet": "lamp-leakage", "room light": "room-light",
    "glowing paper": "glowing-background", "fogged vial": "fogged", "tiny samples": "sample-too-small",
    "bright neighbour": "lit-by-neighbour", "cut by the frame": "edge-of-frame",
    "merged frames": "merged-by-phone", "automatic white balance": "automatic-white-balance",
    "nothing glows": "no-sample", "exposure changed": "exposure-changed",
    "white balance changed": "white-balance-changed", "camera moved": "moved",
    "sent by messenger": "metadata-stripped", "lamp-off frame": "lamp-off-mismatch",
    "lamp-off with lamp on": "frame-left-out", "capped in room light": "frame-left-out",
    "blank with samples": "frame-left-out",
}  # fmt: skip
WRONG_FRAMES = {
    "lamp-off with lamp on": "lamp_off", "capped in room light": "lens_capped", "blank with samples": "blank",
}  # fmt: skip
"""Frames that are not what they are given as, the stronger the nearer to the photograph in exposure."""
OF_THE_FILE = ("merged frames", "automatic white balance", "sent by messenger", "white balance changed")
"""Faults that a raw file cannot have."""
TO_COMPARE = ("lamp hot spot", "vignetting", "flicker banding", "white balance changed")
SIZES = ((900, 600), (600, 400), (1200, 900))


def drawn(seed, fault, rendered):
    """A generator and a competent photograph; of two kinds of file the same scene."""
    rng = np.random.default_rng([seed, zlib.crc32(fault.encode())])
    n = int(rng.integers(5 if fault in TO_COMPARE else 1, 13))
    camera = luther_camera() if rng.random() < 0.25 else default_camera()
    camera = camera.with_(
        full_well_e=float(rng.uniform(8e3, 6e4)), read_noise_e=float(rng.uniform(1.5, 6.0)),
        bits=int(rng.choice([12, 14])),
    )  # fmt: skip
    if camera.bits == 12:
        camera = camera.with_(black=256)
    size = SIZES[int(rng.integers(len(SIZES)))]
    return rng, competent(rng, n, size, camera, rendered=rendered)


def shoot(setup, path, rng):
    """Write the photograph as its suffix tells."""
    shot = setup.shoot(rng)
    return write_jpeg(shot, path, setup.development) if path.suffix == ".jpg" else write_dng(shot, path)


def checked(fault, strength, seed, folder, kind):
    """The check of one photograph (of a series: of the last) with this fault; without, where it is None."""
    rng, good = drawn(seed, fault or "none", kind == "jpg")
    path = folder / f"shot.{kind}"
    if fault in SERIES_FAULTS:
        shots = []
        for i, setup in enumerate(series_with_fault(good, fault, strength, rng)):
            shots.append(check(shoot(setup, folder / f"{i}.{kind}", rng)))
        return check_series(shots)[-1]
    if fault in WRONG_FRAMES:
        lit = replace(good, scene=replace(good.scene, room=0.1))
        frame = lamp_off_of(lit, None, strength) if fault == "capped in room light" else lit
        frame = frame.exposed((0.25, 0.5, 1.0)[STRENGTHS.index(strength)])
        given = {WRONG_FRAMES[fault]: (shoot(frame, folder / f"frame.{kind}", rng),)}
        return check_series([check(shoot(lit, path, rng), Settings(**given))])[0]
    if fault == "lamp-off frame":
        lit = replace(good, scene=replace(good.scene, room=0.1))
        off = shoot(lamp_off_of(lit, fault, strength), folder / f"off.{kind}", rng)
        return check_series([check(shoot(lit, path, rng), Settings(lamp_off=(off,)))])[0]
    if fault == "sent by messenger":
        path.write_bytes(sent_by_messenger(good.shoot(rng), good.development, strength))
    else:
        shoot(with_fault(good, fault, strength, rng) if fault else good, path, rng)
    return check_series([check(path)])[0]


def row(fault, strength, kind, options, folder):
    """One line of the table."""
    firsts, anywhere, wanted = Counter(), 0, CAUSE.get(fault)
    for seed in range(options.first, options.first + options.scenes):
        found = checked(fault, strength, seed, folder, kind)
        names = [a.cause for a in found.advice]
        if fault is None:
            names = [n for n in names if n != "rendered-file"]
        first = names[0] if names else "nothing"
        firsts[first] += 1
        anywhere += wanted in {*names, *found.also}
        if options.show and first != (wanted or "nothing"):
            print(f"  {fault} {strength} {kind} seed {seed}: {[(a.cause, a.sentence) for a in found.advice]}")
    right = firsts.pop(wanted or "nothing", 0)
    others = ", ".join(f"{name} {n}" for name, n in firsts.most_common())
    print(
        f"{fault or 'no fault':24}{strength:8}{kind:5}{right:4}{anywhere:5} of {options.scenes}   {others}",
        flush=True,
    )
    return right


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("scenes", type=int, nargs="?", default=20)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--fault", nargs="*")
    parser.add_argument("--strength", nargs="*", default=STRENGTHS)
    parser.add_argument("--show", action="store_true")
    options = parser.parse_args()
    faults = [None if f == "none" else f for f in options.fault or ()] or [
        None,
        *FAULTS,
        *SERIES_FAULTS,
        "sent by messenger",
        "lamp-off frame",
        *WRONG_FRAMES,
    ]
    print(f"{'fault':24}{'strength':8}{'file':5}{'1st':>4}{'any':>5}")
    right, total = Counter(), Counter()
    with tempfile.TemporaryDirectory() as folder:
        for fault in faults:
            for strength in options.strength if fault else ("-",):
                for kind in ("jpg",) if fault in OF_THE_FILE else ("dng", "jpg"):
                    right[strength] += row(fault, strength, kind, options, Path(folder))
                    total[strength] += options.scenes
    for strength, n in total.items():
        print(f"{strength}: right cause first in {right[strength]} of {n} ({right[strength] / n:.1%})")


if __name__ == "__main__":
    main()
