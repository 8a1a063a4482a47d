"""Samples beside known forms: frozen records and their document."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from glowkin.base.errors import WrongUseError
from glowkin.base.html_table import table_html
from glowkin.base.priors import PRIOR_OF_MIXTURES, PRIOR_OF_NONE, SURE, VARIATION
from glowkin.base.records import Matrix, Pair, Row, build, to_json

NOT_IDENTITY = "not proof of identity"
CANNOT_TELL = "cannot tell"
MATCH_COLUMNS = ("path", "name", "verdict", "consistent_with", "probability_of_none")
Answer = tuple[tuple[str, ...], float, float]
"""The names of its forms (none: empty), what was thought of it before the photograph, and after."""


@dataclass(frozen=True)
class FormProbability:
    """A form alone: what was thought of it before the photograph, and after."""

    form: str
    prior: float
    probability: float


@dataclass(frozen=True)
class MixtureProbability:
    """Two forms together. ``light_fraction_a``: share of the luminance that comes from a, were it this
    mixture, with its 95 % interval; light is not amount.
    """

    a: str
    b: str
    prior: float
    probability: float
    light_fraction_a: float
    light_fraction_a_interval: Pair


@dataclass(frozen=True)
class SampleMatch:
    """One sample beside the forms.

    ``verdict``: ``one form``, ``mixture of two forms``, ``one form, alone or mixed``, ``none of the forms``
    or ``cannot tell``; ``consistent_with`` names the forms, ``sentence`` says it in words. ``not_excluded``
    are the likeliest answers that together are as probable as was asked for: names of forms, none being
    empty.
    """

    path: str
    name: str
    verdict: str
    sentence: str
    consistent_with: tuple[str, ...]
    not_excluded: tuple[tuple[str, ...], ...]
    forms: tuple[FormProbability, ...]
    mixtures: tuple[MixtureProbability, ...]
    prior_of_none: float
    probability_of_none: float
    u_prime: float | None = None
    v_prime: float | None = None
    flags: tuple[str, ...] = ()

    def answers(self) -> list[Answer]:
        """Every answer: the forms alone, mixed, and none of them."""
        alone: list[Answer] = [((f.form,), f.prior, f.probability) for f in self.forms]
        both: list[Answer] = [((m.a, m.b), m.prior, m.probability) for m in self.mixtures]
        return [*alone, *both, ((), self.prior_of_none, self.probability_of_none)]

    def probability_with(self, form: str) -> float:
        """The probability that a form takes part, alone or mixed."""
        return sum(p for forms, _, p in self.answers() if form in forms)

    def rows(self) -> list[Row]:
        """One plain row for each answer."""
        return [
            {"path": self.path, "name": self.name, "forms": list(forms), "prior": prior, "probability": p}
            for forms, prior, p in self.answers()
        ]

    def _repr_html_(self) -> str:
        return table_html([to_json(self)], MATCH_COLUMNS)


@dataclass(frozen=True)
class Assumed:
    """What was thought before the photograph, and what was asked for.

    ``prior_of_none`` and ``prior_of_mixtures`` are shares of one; the rest is the forms' alone. ``weights``
    are the forms' against each other, those not named having 1. ``variation_u_prime_v_prime``: one standard
    deviation in u' and in v' by which batches of one form differ. ``sure``: the probability a verdict needs.
    """

    prior_of_none: float = PRIOR_OF_NONE
    prior_of_mixtures: float = PRIOR_OF_MIXTURES
    weights: dict[str, float] | None = None
    variation_u_prime_v_prime: float = VARIATION
    sure: float = SURE

    def __post_init__(self) -> None:
        """Raise ``WrongUseError`` for what cannot be thought."""
        none, mixtures = self.prior_of_none, self.prior_of_mixtures
        if not (0.0 <= none < 1.0 and mixtures >= 0.0 and none + mixtures < 1.0):
            raise WrongUseError(
                f"--prior-none {none:g}, --prior-mixtures {mixtures:g}: both are shares of one, and "
                "something must be left for the forms alone; give such as 0.5 and 0.25"
            )
        for name, weight in (self.weights or {}).items():
            if not (0.0 <= weight < float("inf")):
                raise WrongUseError(f"--weight {name}={weight:g}: a weight is 0 or above, such as 2")
        if not (0.0 <= self.variation_u_prime_v_prime <= 0.1):
            raise WrongUseError(
                f"--variation {self.variation_u_prime_v_prime:g}: batches of a form differ by 0 to 0.1"
            )
        if not (0.5 <= self.sure < 1.0):
            raise WrongUseError(f"--sure {self.sure:g}: give a probability from 0.5 to below 1, such as 0.95")


@dataclass(frozen=True)
class KnownForm:
    """A form as it was used, for the photographs' observer."""

    name: str
    u_prime: float
    v_prime: float
    u_prime_v_prime_covariance: Matrix
    basis: str
    source: str


@dataclass(frozen=True)
class Matches:
    """All samples of a run beside the forms of one file."""

    forms_file: str
    forms_sha256: str
    observer: int
    known: tuple[KnownForm, ...]
    assumed: Assumed
    samples: tuple[SampleMatch, ...]

    def sample(self, name: str) -> SampleMatch | None:
        """The first sample of that name."""
        return next((s for s in self.samples if s.name == name), None)

    def rows(self) -> list[Row]:
        """The rows of all samples."""
        return [row for sample in self.samples for row in sample.rows()]

    def _repr_html_(self) -> str:
        return table_html([to_json(s) for s in self.samples], MATCH_COLUMNS)


def match_document(matches: Matches | None, errors: Any, program: str) -> Row:
    """The glowkin.match.v1 document."""
    found = {"samples": []} if matches is None else to_json(matches)
    return {"schema": "glowkin.match.v1", "program": program, "errors": list(errors), **found}


def matches_from_json(document: Row) -> Matches:
    """Read a glowkin.match.v1 document back."""
    nested = {
        "known": tuple(build(KnownForm, row) for row in document["known"]),
        "assumed": build(Assumed, document["assumed"]),
        "samples": tuple(_sample(row) for row in document["samples"]),
    }
    return build(Matches, {**document, **nested})


def _sample(row: Row) -> SampleMatch:
    forms = tuple(build(FormProbability, f) for f in row["forms"])
    mixtures = tuple(build(MixtureProbability, m) for m in row["mixtures"])
    return build(SampleMatch, {**row, "forms": forms, "mixtures": mixtures})
