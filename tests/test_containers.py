"""The same codes measure alike whatever file they are kept in, from file to record."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import tifffile

from chart import profile
from glowkin.base.uncertainty import ellipse_95
from glowkin.light.decode import open_photo
from glowkin.recipes import measure
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.render import photograph
from glowkin.scene.stage import two_reds_and_green


@pytest.fixture(scope="module")
def codes(tmp_path_factory):
    """The codes of a developed photograph, its samples well below clipping."""
    folder = tmp_path_factory.mktemp("codes")
    shot = photograph(
        two_reds_and_green((450, 300)), default_camera(), np.random.default_rng(1), brightest=0.5
    )
    return open_photo(write_jpeg(shot, folder / "a.jpg")).codes


@pytest.fixture
def kept(tmp_path, codes):
    """Those codes in a file of each kind, untagged, so taken for sRGB."""
    wide = codes.astype(np.uint16)

    def opencv(name, values, *options):
        assert cv2.imwrite(str(tmp_path / name), values[..., ::-1], options)
        return tmp_path / name

    def tiff(name, values, **options):
        tifffile.imwrite(tmp_path / name, values, photometric="rgb", **options)
        return tmp_path / name

    lossless = (cv2.IMWRITE_AVIF_QUALITY, 100, cv2.IMWRITE_AVIF_DEPTH, 10)
    return {
        "PNG, 8": lambda: opencv("8.png", codes),
        "PNG, 16": lambda: opencv("16.png", wide * 257),
        "TIFF, 8": lambda: tiff("8.tif", codes, compression="lzw"),
        "TIFF, 16": lambda: tiff("16.tif", wide * 257, byteorder=">", planarconfig="contig"),
        "AVIF, 10": lambda: opencv("10.avif", np.rint(wide * (1023 / 255)).astype(np.uint16), *lossless),
    }


@pytest.mark.parametrize("kind", ["PNG, 16", "TIFF, 8", "TIFF, 16", "AVIF, 10"])
def test_the_container_changes_no_colour(kept, kind):
    plain, other = measure(kept["PNG, 8"]()), measure(kept[kind]())
    assert len(plain.samples) == len(other.samples) == 3
    for a, b in zip(plain.samples, other.samples, strict=True):
        exact, axis = kind.endswith("8"), ellipse_95(np.array(a.u_prime_v_prime_covariance))[0]
        assert np.hypot(a.u_prime - b.u_prime, a.v_prime - b.v_prime) < (1e-9 if exact else 0.05 * axis)
        assert b.area_px == pytest.approx(a.area_px, rel=0.02)
        assert b.clipped_fraction == a.clipped_fraction == 0
        assert set(a.flags) == set(b.flags)


def test_a_profile_in_a_tiff_is_used(tmp_path, codes):
    sizes = {}
    for name, space in (("a", "sRGB"), ("b", "Display P3")):
        path = tmp_path / f"{name}.tif"
        tifffile.imwrite(path, codes, photometric="rgb", iccprofile=profile(space))
        sizes[space] = measure(path).samples
    greens = [max(found, key=lambda s: s.luminance_relative) for found in sizes.values()]
    assert np.hypot(*(np.subtract(*[(g.u_prime, g.v_prime) for g in greens]))) > 0.004  # a wider gamut
