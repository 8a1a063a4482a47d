"""Small photographs of scenes whose answers are known, and files bent on purpose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from glowkin.scene import dng
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import emitters
from glowkin.scene.stage import plain_scene


@pytest.fixture(scope="session")
def scene():
    """A bright green disc and a dimmer red one."""
    return plain_scene((240, 160), [emitters()["green"], 0.5 * emitters()["red"]])


@pytest.fixture
def shot(scene):
    return photograph(scene, default_camera(), np.random.default_rng(1), Exposure(), brightest=0.6)


@pytest.fixture
def turned(shot):
    """The shot with an orientation tag."""

    def with_tag(orientation):
        return replace(shot, exposure=replace(shot.exposure, orientation=orientation))

    return with_tag


@pytest.fixture
def dng_with(shot, tmp_path, monkeypatch):
    """A DNG whose tags are changed: a number or tuple, None to leave one out."""
    plain = dng._colour

    def write(changes, name="bent.dng"):
        def colour(of):
            tags = {**plain(of), **changes}
            return {k: v for k, v in tags.items() if v is not None}

        monkeypatch.setattr(dng, "_colour", colour)
        return write_dng(shot, tmp_path / name)

    return write


@pytest.fixture
def jpeg_of(tmp_path):
    """A JPEG of codes (h x w x 3), with Exif tags, an Exif directory and a profile."""

    def write(codes, name="a.jpg", *, tags=None, taken=None, **options):
        exif = Image.Exif()
        for tag, value in (tags or {}).items():
            exif[tag] = value
        for tag, value in (taken or {}).items():
            exif.get_ifd(0x8769)[tag] = value
        path = tmp_path / name
        given = {"quality": 95, "subsampling": 0, **options}
        Image.fromarray(codes).save(path, "JPEG", exif=exif.tobytes(), **given)
        return path

    return write


def rationals(*values):
    """Numbers as Exif rationals, in thousandths."""
    return tuple(IFDRational(round(1000 * v), 1000) for v in values)
