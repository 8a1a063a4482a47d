"""Draw the figures of 'From three channels to a colour' anew.

    PYTHONPATH=src python docs/three_channels.py

Left to itself the page keeps the SVG files; the figures show the prior over cameras and spectra of the prior.
"""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import numpy as np

mpl.use("Agg")
from matplotlib import pyplot as plt

from glowkin.camera.answers import shares
from glowkin.camera.emission_prior import emission_prior
from glowkin.camera.grid import WAVELENGTH_NM as NM
from glowkin.camera.sensitivities import camera_prior

FOLDER = Path(__file__).parent / "_static/three-channels"
STYLE = {"svg.hashsalt": "glowkin", "font.size": 11, "axes.spines.top": False, "axes.spines.right": False}
CHANNELS = (("red", "#b3261e", "-"), ("green", "#2e7d32", "--"), ("blue", "#1a4fa0", ":"))


def cameras():
    """Sensitivities of the prior, and how far cameras scatter about them."""
    prior = camera_prior()
    spread = np.sqrt(np.square(prior.loadings).sum(axis=2))
    fig, ax = plt.subplots(figsize=(5, 3.2), layout="constrained")
    for (name, colour, dashes), mean, sd in zip(CHANNELS, prior.mean, spread, strict=True):
        top = mean.max()
        ax.fill_between(NM, (mean - sd) / top, (mean + sd) / top, color=colour, alpha=0.2, lw=0)
        ax.plot(NM, mean / top, dashes, color=colour, label=name)
    ax.set(xlim=(380, 720), ylim=(0, 1.3), xlabel="wavelength, nm", ylabel="response, relative")
    ax.legend(frameon=False, ncols=3, loc="upper center")
    return fig


def alike():
    """Three spectra of the prior that the mean camera answers almost alike, and their colours."""
    prior = emission_prior()
    at = shares(prior.spectra @ camera_prior().mean.T)
    first = int(np.nanargmin(np.abs(prior.band - (560, 90)).sum(axis=1)))
    near = np.argsort(np.square(at - at[first]).sum(axis=1))[:60]
    away = np.hypot(*(prior.uv_prime[2][near] - prior.uv_prime[2][first]).T)
    fig, ax = plt.subplots(figsize=(5, 3.2), layout="constrained")
    shown = (first, near[np.argsort(away)[30]], near[away.argmax()])
    for i, dashes, width in zip(shown, ("-", "--", ":"), (2.2, 1.4, 1.8), strict=True):
        u, v = prior.uv_prime[2][i]
        spectrum = prior.spectra[i] / prior.spectra[i].max()
        ax.plot(NM, spectrum, dashes, color="black", lw=width, label=f"u′ {u:.3f}  v′ {v:.3f}")
    ax.set(xlim=(380, 780), ylim=(0, 1.45), xlabel="wavelength, nm", ylabel="power per nm, relative")
    ax.legend(frameon=False, loc="upper right")
    return fig


def main():
    FOLDER.mkdir(parents=True, exist_ok=True)
    with mpl.rc_context(STYLE):
        for draw in (cameras, alike):
            fig = draw()
            fig.savefig(FOLDER / f"{draw.__name__}.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
