"""What a reader of JPEGs errs who knows all that can be known before the photograph.

    python benchmarks/jpeg_limit.py [--draws N]

The JPEGs are those of ``accuracy.py``, of its made bands only, read thrice: by the prior's own developments
and emissions; by developments as the benchmark draws them, its cameras included; and by the made bands too,
drawn anew. What is left then is in no file of a camera unknown.
"""

from __future__ import annotations

import argparse
from unittest import mock

import numpy as np

import accuracy
import emitters
from accuracy import CMF
from glowkin.camera import development
from glowkin.camera.emission_prior import EmissionPrior, bands_of
from glowkin.colour.chromaticity import XYZ_to_uv_prime

MADE = ("pearson", "log-normal", "tailed", "two bands")
NUMBER = 40_000


def developments(cams):
    """``development.develop`` as the benchmark renders, by any of these cameras."""
    shapes = [accuracy.on_grid(S) for S in cams.values()]

    def develop(spectra, z, rgb_to_xyz, balance, rng):  # noqa: ARG001 - called as the prior's own
        return accuracy.jpeg(shapes[rng.integers(len(shapes))], spectra.astype(float), rng)[0]

    return mock.patch.object(development, "develop", develop)


def emissions():
    """The prior over emission that the made bands are drawn from."""
    rng = np.random.default_rng(99)
    P = rng.permutation(np.asarray(emitters.made(rng, NUMBER)[0], np.float32))
    XYZ = P.astype(float) @ CMF
    uv, none = {2: XYZ_to_uv_prime(XYZ)}, np.zeros(NUMBER, np.int8)
    prior = EmissionPrior(P / XYZ[:, 1:2].astype(np.float32), uv, bands_of(P), none)
    return mock.patch.object(accuracy, "emission_prior", return_value=prior)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=6)
    parser.add_argument("--data", default="../shared/data")
    options = parser.parse_args()
    cams, gained, E, classes = accuracy.met_with("usual", options.data)
    ours = np.isin(classes, MADE)
    makers = [maker for maker, _ in cams] * options.draws

    def told(name):
        scores = accuracy.drawn_anew(options.draws, "jpeg", cams, E[ours], gained)
        accuracy.Summary(scores, E[ours], classes[ours], makers).report(name)

    told("the prior's own")
    with developments(cams):
        told("developments known")
        with emissions():
            told("developments and emissions known")


if __name__ == "__main__":
    main()
