"""A sample's colour beside the colours of known forms: how probable is each, two of them mixed, or none?

Bayes' theorem over answers (JCGM 101:2008 has the errors, Jeffreys, Theory of Probability, ch. 5 the
comparison). A photograph's colour comes with what emission is expected to look like already counted in. So
what speaks for an answer against 'none of them' is a ratio of two densities of the difference between sample
and answer, taken at no difference: with the photograph, and without it (Dickey, Ann. Math. Stat. 42, 204
(1971)). Errors that sample and form share cancel in the first; batches of a form may differ a little.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import Uncertain, cross_covariance
from glowkin.camera.emission_density import emission_density
from glowkin.camera.nearby import ALIKE, of_field
from glowkin.colour.mixing import jacobians_of_mixture, light_fraction

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.matches import Assumed
    from glowkin.base.uncertainty import Array

_STEPS = 400
_EVERY = 8
"""The density of emission is smooth along a mixture: it is worked out at one place in so many."""
_LEAST_VARIANCE = 1e-8
_NEVER = 1e4
"""Logarithm of a density so high that nothing speaks for what it is taken from."""


@dataclass(frozen=True, eq=False)
class Answer:
    """One answer: the ``forms`` it is made of (their numbers; none: empty), its ``prior``, and places on the
    diagram, one for a form, n for mixtures: ``at`` (n x 2), covariance ``spread`` (n x 2 x 2), derivatives
    ``by`` each form (n x 2 x 2), ``share`` of the prior (n), logarithm of the density of emission
    ``log_density`` (n), the ``fraction`` (n) of the light that is the first form's, and the ``place`` (n) on
    the line to it.
    """

    forms: tuple[int, ...]
    prior: float
    at: Array
    spread: Array
    by: tuple[Array, ...]
    share: Array
    log_density: Array
    fraction: Array
    place: Array


@dataclass(frozen=True, eq=False)
class Told:
    """What a photograph says of the answers: their ``probability`` (k, none of them last) and, for each
    mixture, the ``weight`` of its fractions of light.
    """

    probability: Array
    weight: tuple[Array, ...]


@dataclass(frozen=True, eq=False)
class Forms:
    """Known forms made ready: ``names``, ``colours``, and the answers that they allow."""

    names: tuple[str, ...]
    colours: tuple[Uncertain, ...]
    answers: tuple[Answer, ...]
    prior_of_none: float

    def told(self, sample: Uncertain, kind: str = "raw") -> Told:
        """Probabilities of the answers, by a sample's colour from a file of this kind (raw, rendered).

        A rendered file shows saturated glows of many colours as one, so that looking alike says less there.
        """
        alike = ALIKE[kind] if kind == "raw" else None
        common = [Common.of(sample, form, alike) for form in self.colours]
        logs = [_log_ratios(sample, answer, common) for answer in self.answers]
        prior = np.array([*(a.prior for a in self.answers), self.prior_of_none])
        evidence = np.array([*(_log_sum(log) for log in logs), 0.0])
        with np.errstate(divide="ignore"):
            log_post = np.log(prior) + evidence
        post = np.exp(log_post - log_post.max())
        weights = tuple(np.exp(log - _log_sum(log)) for log in logs)
        return Told(post / post.sum(), weights)

    def untold(self) -> Told:
        """The same of a sample without a colour: what was thought before."""
        prior = np.array([*(a.prior for a in self.answers), self.prior_of_none])
        return Told(prior, tuple(a.share for a in self.answers))


def forms_ready(
    names: Sequence[str], colours: Sequence[Uncertain], assumed: Assumed, observer: int = 2
) -> Forms:
    """The answers that forms of these colours allow: each alone, and every two mixed."""
    weights = {**dict.fromkeys(names, 1.0), **(assumed.weights or {})}
    w = np.array([weights[name] for name in names])
    pairs = [(i, j) for i, j in combinations(range(len(names)), 2) if w[i] * w[j] > 0]
    both = assumed.prior_of_mixtures if pairs else 0.0
    alone = 1.0 - assumed.prior_of_none - both
    of_pair = np.array([w[i] * w[j] for i, j in pairs])
    batch = assumed.variation_u_prime_v_prime**2 * np.eye(2)
    answers = [_alone(i, alone * w[i] / w.sum(), colours[i], batch, observer) for i in range(len(names))]
    answers += [
        _mixed((i, j), both * part, colours[i], colours[j], batch, observer)
        for (i, j), part in zip(pairs, of_pair / max(of_pair.sum(), 1e-300), strict=True)
    ]
    return Forms(tuple(names), tuple(colours), tuple(answers), 1.0 - alone - both)


def _alone(i: int, prior: float, colour: Uncertain, batch: Array, observer: int) -> Answer:
    at, spread = colour.value[np.newaxis], (colour.covariance + batch)[np.newaxis]
    density = _log_emission(observer, at, spread)
    return Answer(
        (i,), prior, at, spread, (np.eye(2)[np.newaxis],), np.ones(1), density, np.ones(1), np.ones(1)
    )


def _mixed(
    forms: tuple[int, int], prior: float, a: Uncertain, b: Uncertain, batch: Array, observer: int
) -> Answer:
    """Every share of the light is as probable as any other; places are even along the line."""
    v = float(a.value[1]), float(b.value[1])
    edges = light_fraction(np.linspace(0.0, 1.0, _STEPS + 1), *v)
    g = (np.arange(_STEPS) + 0.5) / _STEPS
    fraction = light_fraction(g, *v)
    at = g[:, np.newaxis] * a.value + (1 - g)[:, np.newaxis] * b.value
    J_a, J_b = jacobians_of_mixture(a.value, b.value, fraction)
    both = J_a @ cross_covariance(a, b) @ J_b.transpose(0, 2, 1)
    spread = _through(J_a, a.covariance + batch) + _through(J_b, b.covariance + batch)
    spread = spread + both + both.transpose(0, 2, 1)
    few = np.unique([*range(0, _STEPS, _EVERY), _STEPS - 1])
    log_density = np.interp(g, g[few], _log_emission(observer, at[few], spread[few]))
    return Answer(forms, prior, at, spread, (J_a, J_b), np.diff(edges), log_density, fraction, g)


def _log_emission(observer: int, at: Array, spread: Array) -> Array:
    """Logarithm of the density of emission (n); colours that no light has are no answer."""
    density = emission_density(observer).around(at, spread)
    return np.where(density > 0.0, np.log(np.maximum(density, 1e-300)), _NEVER)


def _through(J: Array, covariance: Array) -> Array:
    return np.asarray(J @ covariance @ J.transpose(0, 2, 1))


@dataclass(frozen=True, eq=False)
class Common:
    """What a sample and a form have in common: their cross-covariance (2 x 2) were they any two ``colours``,
    and what more were they one emission, seen by ``one`` camera.
    """

    colours: Array
    more: Array

    @classmethod
    def of(cls, sample: Uncertain, form: Uncertain, alike: float | None) -> Common:
        """By the sources both name; ``alike`` is the part of the field's error that equal colours share, None
        where that of one emission is not known either.
        """
        (camera, near), (other, near_form) = of_field(sample.shared), of_field(form.shared)
        colours = cross_covariance(sample, form)
        if alike is None or not camera or camera != other:
            return cls(colours, np.zeros((2, 2)))
        parts = [Uncertain(c.value, 0 * c.own, n) for c, n in ((sample, near), (form, near_form))]
        all_of_it = _root(parts[0].covariance) @ _root(parts[1].covariance) / alike
        return cls(colours, all_of_it - cross_covariance(*parts))


def _root(covariance: Array) -> Array:
    """The symmetric square root."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T)


def _log_ratios(sample: Uncertain, answer: Answer, common: Sequence[Common]) -> Array:
    """For each place of an answer (n), how much likelier than by none of them the sample's look is.

    One emission seen twice errs alike; a mixture the less so the farther it is from either form, by the
    square of its place (``benchmarks/matching.py``).
    """
    cross = np.zeros((2, 2))
    for i, J in zip(answer.forms, answer.by, strict=True):
        part = answer.place if i == answer.forms[0] else 1.0 - answer.place
        known = common[i].colours + part[:, np.newaxis, np.newaxis] ** 2 * common[i].more
        cross = cross + known @ J.transpose(0, 2, 1)
    C = sample.covariance + answer.spread - cross - np.swapaxes(cross, -1, -2)
    density = log_normal_density(sample.value - answer.at, C)
    return np.asarray(np.log(np.maximum(answer.share, 1e-300)) + density - answer.log_density)


def log_normal_density(away: Array, covariance: Array) -> Array:
    """Logarithm of the density of Gaussians (covariance n x 2 x 2) so far (n x 2) from their middle."""
    values, vectors = np.linalg.eigh(covariance)
    values = np.maximum(values, _LEAST_VARIANCE)
    along = (vectors.transpose(0, 2, 1) @ away[..., np.newaxis])[..., 0]
    return np.asarray(-0.5 * (along**2 / values + np.log(values)).sum(axis=-1) - np.log(2 * np.pi))


def _log_sum(logs: Array) -> float:
    top = float(logs.max())
    return top + float(np.log(np.exp(logs - top).sum()))


def fraction_interval(fraction: Array, weight: Array) -> tuple[float, float, float]:
    """Median and 95 % bounds of the share of the light, by the weight of its values (n each)."""
    order = np.argsort(fraction)
    below = np.cumsum(weight[order]) - 0.5 * weight[order]
    middle, low, high = np.interp((0.5, 0.025, 0.975), below, fraction[order])
    return float(middle), float(low), float(high)
