"""Samples beside known forms, as rows of words and as places on the diagram."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.telling.naming import base_name, without_folders
from glowkin.telling.numbers import NOTHING, with_interval
from glowkin.telling.spots import FORM, Spot
from glowkin.telling.tables import Table, chance

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.matches import Answer, Matches, SampleMatch
    from glowkin.base.records import MeasuredPhoto

_SHOWN, _LEAST = 4, 0.01


def matches_table(matches: Matches, most: int | None = None) -> Table:
    """One row a sample: the verdict, the likeliest answers, the light of a mixture not excluded.

    Of more rows than ``most`` those of the last photograph of each sample.
    """
    shown = matches.samples
    if most is not None and len(shown) > most:
        shown = tuple({s.name: s for s in shown}.values())
    several = len({s.path for s in shown}) > 1
    heads = (
        "Sample",
        *(("Photograph",) if several else ()),
        "Verdict",
        "Probabilities",
        "Share of the light",
    )
    rows = tuple(
        (s.name, *((base_name(s.path),) if several else ()), s.sentence, _probabilities(s), _light(s))
        for s in shown
    )
    few = "" if len(shown) == len(matches.samples) else "The last photograph of each sample is shown. "
    caption = f"Samples beside known forms ({base_name(matches.forms_file)})"
    return Table(caption, heads, rows, few + _note(matches))


def matched_photographs(matches: Matches, photos: Sequence[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """The photographs whose samples were set beside forms."""
    there = {s.path for s in matches.samples}
    return [p for p in photos if p.path in there]


def _note(matches: Matches) -> str:
    a = matches.assumed
    alone = 1 - a.prior_of_none - a.prior_of_mixtures
    mixed = f", two of them mixed {a.prior_of_mixtures:.2g}" if len(matches.known) > 1 else ""
    alone += 0.0 if mixed else a.prior_of_mixtures
    weights = ", ".join(f"{name} {weight:g}" for name, weight in (a.weights or {}).items())
    return (
        f"Assumed before the photograph: none of the forms {a.prior_of_none:.2g}, one of them "
        f"{alone:.2g}{mixed}"
        f"{f' (weights: {weights})' if weights else ''}; batches of a form differ by "
        f"{a.variation_u_prime_v_prime:g} in u′ and in v′ (standard deviation; common practice, no "
        f"source). A verdict needs {100 * a.sure:.3g} %. Shares are of the light, not of the amount. A "
        "colour does not prove identity."
    )


def _probabilities(s: SampleMatch) -> str:
    likeliest = sorted(s.answers(), key=lambda a: -a[2])
    shown = [a for a in likeliest[:_SHOWN] if a[2] >= _LEAST]
    return ", ".join(f"{answer_words(a)} {chance(a[2])}" for a in shown)


def answer_words(answer: Answer) -> str:
    """An answer in words.

    >>> answer_words((("red", "green"), 0.1, 0.2)), answer_words(((), 0.5, 0.5))
    ('red with green', 'none of them')
    """
    return " with ".join(answer[0]) or "none of them"


def _light(s: SampleMatch) -> str:
    """Of the likeliest mixture, where mixtures are not excluded."""
    open_to = [m for m in s.mixtures if (m.a, m.b) in s.not_excluded]
    if not open_to:
        return NOTHING
    m = max(open_to, key=lambda m: m.probability)
    low, high = m.light_fraction_a_interval
    percent = with_interval(100 * m.light_fraction_a, (100 * low, 100 * high))
    return f"{m.a} {percent} % if with {m.b}"


def form_spots(matches: Matches) -> list[Spot]:
    """The forms as places on the diagram, their 95 % regions holding how batches differ."""
    batch = matches.assumed.variation_u_prime_v_prime**2 * np.eye(2)
    return [
        Spot(
            f"form {f.name}",
            "",
            np.array([f.u_prime, f.v_prime]),
            np.array(f.u_prime_v_prime_covariance) + batch,
            FORM,
        )
        for f in matches.known
    ]


def mixed_pairs(matches: Matches) -> list[tuple[int, int]]:
    """Which forms, by their numbers, some sample may be a mixture of."""
    number = {f.name: i for i, f in enumerate(matches.known)}
    pairs = {forms for s in matches.samples for forms in s.not_excluded if len(forms) == 2}
    return sorted((number[a], number[b]) for a, b in pairs)


def public_matches(matches: Matches, short: Mapping[str, str]) -> Matches:
    """The same without folders."""
    return replace(
        matches,
        forms_file=base_name(matches.forms_file),
        known=tuple(replace(f, source=without_folders(f.source)) for f in matches.known),
        samples=tuple(replace(s, path=short.get(s.path, base_name(s.path))) for s in matches.samples),
    )
