"""Forms, mixtures and strangers in whole photographs: forms kept from one, looked for in another.

The emissions are Pearson VII bands in nm, a shape that the prior over emission has not; batches are moved by
1 nm.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowkin import recipes
from glowkin.base.matches import Assumed
from glowkin.base.settings import Settings
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.spectra import WAVELENGTH_NM as NM
from glowkin.scene.stage import row_of_vials, with_luminance

SIZE = (900, 600)
FORMS = {"red": (628.0, 70.0), "green": (519.0, 45.0), "blue": (458.0, 55.0)}
MIXED = ("green", "blue", 0.6)


def pearson(peak, width, m=2.5):
    """A band between Lorentz's and Gauss's, in power per nm, of luminance 1."""
    return with_luminance((1 + ((NM - peak) / (width / 2)) ** 2 * (2 ** (1 / m) - 1)) ** -m, 1.0)


def measured(radiances, seed, folder, suffix):
    scene = row_of_vials(SIZE, len(radiances), 1, radiances, seed=seed)
    shot = photograph(scene, default_camera(), np.random.default_rng(seed), brightest=0.6)
    path = (write_dng if suffix == ".dng" else write_jpeg)(shot, folder / f"day{seed}{suffix}")
    return recipes.measure(path, Settings(names=tuple(radiances)))


@pytest.fixture(scope="module", params=[".dng", ".jpg"])
def found(request, tmp_path_factory):
    """The samples of the second day beside forms kept on the first."""
    folder = tmp_path_factory.mktemp("days")
    level = {"red": 0.5, "green": 1.0, "blue": 0.25}
    first = measured({n: level[n] * pearson(*FORMS[n]) for n in FORMS}, 1, folder, request.param)
    forms = [recipes.form_of([first], name, name, None, "365 nm") for name in FORMS]
    moved = dict(zip(FORMS, (1.0, -1.0, 1.0), strict=True))
    batch = {name: pearson(peak + moved[name], width) for name, (peak, width) in FORMS.items()}
    a, b, f = MIXED
    second = {
        "same-red": 0.4 * batch["red"],
        "same-green": batch["green"],
        "mixed": 0.6 * (f * batch[a] + (1 - f) * batch[b]),
        "cyan": 0.5 * pearson(492.0, 40.0),
        "orange": 0.5 * pearson(595.0, 60.0),
    }
    return recipes.match([measured(second, 2, folder, request.param)], forms, Assumed())


def test_no_verdict_is_wrong(found):
    true = {"same-red": ("red",), "same-green": ("green",), "mixed": MIXED[:2], "cyan": (), "orange": ()}
    assert len(found.samples) == len(true)
    for sample in found.samples:
        assert true[sample.name] in sample.not_excluded
        assert set(sample.consistent_with) <= set(true[sample.name])


def test_batches_speak_for_their_form_and_strangers_against_all(found):
    for name in ("red", "green"):
        sample = found.sample(f"same-{name}")
        assert sample.probability_with(name) > 0.7
        assert all(sample.probability_with(other) < 0.3 for other in FORMS if other != name)
    assert found.sample("mixed").probability_with("red") < 0.2


def test_the_share_of_the_light_lies_in_its_interval(found):
    """In luminance, by which the mixture was rendered. Width: 0.35 raw; of the JPEG, clipped there, 0.82."""
    a, b, f = MIXED
    mixture = next(m for m in found.sample("mixed").mixtures if (m.a, m.b) == (a, b))
    low, high = mixture.light_fraction_a_interval
    assert low <= f <= high
    assert high - low < (0.9 if "clipped" in found.sample("mixed").flags else 0.4)
