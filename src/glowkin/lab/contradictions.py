"""What parts of a preparation file say against each other, also of a file that is wrong in other ways."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from glowkin.base.wrong_keys import entries, key_path
from glowkin.lab.equation import no_change_sentences, step_sentences, supply_sentences

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from glowkin.base.wrong_keys import Place
    from glowkin.lab.preparation_file import PreparationFile, Weighing

UNCERTAINTY_OF = {
    "volume_ml": "volume_uncertainty_ml",
    "density_g_per_ml": "density_uncertainty_g_per_ml",
    "concentration_mol_per_l": "concentration_uncertainty_mol_per_l",
}
"""Of the keys that tell a reagent's amount but for its mass, that of the standard uncertainty."""
_SUBSTANCES = ("reagent", "by_product", "solvent")


@dataclass(frozen=True)
class Sound:
    """A preparation as far as its keys are right: without the entries and tables that are ``broken``."""

    told: PreparationFile
    broken: frozenset[Place]

    def whole(self, *keys: str) -> bool:
        """Whether nothing is wrong in these."""
        return not any(place[0] in keys for place in self.broken)

    def numbers(self, key: str, count: int) -> list[int]:
        """Which entries of a list these so many are, counted from 1 in the file."""
        gone = {place[1] for place in self.broken if place[0] == key and len(place) > 1}
        return [i + 1 for i in range(count + len(gone)) if i not in gone]


def amount_sentences(row: dict[str, Any], unknown: Collection[Place]) -> list[str]:
    """Amounts that are told twice, by half or not at all, of a file as it is written; ``unknown`` are entries
    with keys that there are not, which may be the amount.
    """
    product = row.get("product")
    found: list[tuple[Place, Iterator[str]]] = [
        (("reagent", i), _reagent(e, sure=("reagent", i) not in unknown)) for i, e in entries(row, "reagent")
    ]
    found += [
        (("solvent", i), _solvent(e, sure=("solvent", i) not in unknown)) for i, e in entries(row, "solvent")
    ]
    found += [(("product",), _weighed(product))] if isinstance(product, dict) else []
    return [f"{key_path(place)}: {sentence}" for place, sentences in found for sentence in sentences]


def _weighed(entry: dict[str, Any]) -> Iterator[str]:
    if "mass_uncertainty_g" in entry and "mass_g" not in entry:
        yield "mass_uncertainty_g without mass_g; give the mass, or leave it out"


def _reagent(entry: dict[str, Any], *, sure: bool) -> Iterator[str]:
    yield from _weighed(entry)
    by_mass, by_volume = "mass_g" in entry, "volume_ml" in entry
    if by_mass and by_volume:
        yield "has both mass_g and volume_ml; give the one that was measured"
    kinds = ("density_g_per_ml" in entry) + ("concentration_mol_per_l" in entry)
    if by_volume and (kinds > 1 or (sure and not kinds)):
        yield "volume_ml needs one of density_g_per_ml and concentration_mol_per_l"
    if sure and kinds and not by_volume:
        yield "a density or concentration needs volume_ml"
    elif sure and not (by_mass or by_volume or entry.get("in_excess") is True):
        yield "has no amount; give mass_g or volume_ml, or in_excess = true"
    if "concentration_mol_per_l" in entry and entry.get("purity_percent", 100) != 100:
        yield "a concentration counts the substance itself; leave purity_percent out"
    for name, uncertainty in UNCERTAINTY_OF.items():
        if sure and uncertainty in entry and name not in entry:
            yield f"{uncertainty} without {name}; give both"


def _solvent(entry: dict[str, Any], *, sure: bool) -> Iterator[str]:
    given = ("volume_ml" in entry) + ("mass_g" in entry)
    if given > 1 or (sure and not given):
        yield "needs one of volume_ml and mass_g"


def contradictions(row: dict[str, Any], sound: Sound) -> list[str]:
    """What parts of a file say against each other."""
    told = sound.told
    wrong = [f"{name!r} is named twice; give each its own name" for name in _twice(_names(row))]
    if not any(row.get(key) for key in ("reagent", "product", "by_product", "conversion")):
        wrong.append("the file names no substance; give [[reagent]], [product] or [[conversion]]")
    wrong += supply_sentences(told) if sound.whole("reagent", "product", "by_product") else []
    wrong += step_sentences(told.conversion, sound.numbers("conversion", len(told.conversion)))
    if told.weighing and sound.whole("conversion"):
        wrong += no_change_sentences(told.conversion)
    return wrong + _weighing_sentences(row, sound)


def _names(row: dict[str, Any]) -> list[str]:
    """Names of substances as they are written."""
    product = row.get("product")
    listed = [entry for key in _SUBSTANCES for _, entry in entries(row, key)]
    listed += [product] if isinstance(product, dict) else []
    return [name.strip() for entry in listed if isinstance(name := entry.get("name"), str) and name.strip()]


def _twice(names: list[str]) -> list[str]:
    return [n for n in dict.fromkeys(names) if names.count(n) > 1]


def _weighing_sentences(row: dict[str, Any], sound: Sound) -> list[str]:
    told, written = sound.told, row.get("weighing")
    if not isinstance(written, list) or not written:
        return []
    wrong = []
    if not row.get("conversion"):
        wrong.append("weighing: give the [[conversion]] that the weighings follow")
    if len(written) < 2:
        wrong.append("weighing: one says nothing of a change; give at least two")
    weighings = list(zip(sound.numbers("weighing", len(told.weighing)), told.weighing, strict=True))
    dated = [isinstance(w.time, datetime) for _, w in weighings]
    if any(dated) and not all(dated):
        wrong.append("weighing: give all times after the start, such as '6h', or all as date and time")
    elif dated and all(dated):
        wrong += _zone_sentences(told, weighings)
    tare = told.vial.tare_g
    if tare is not None:
        wrong += [
            f"weighing[{i}].mass_g: {w.mass_g:g} g is not above the tare, {tare:g} g"
            for i, w in weighings
            if w.mass_g <= tare
        ]
    return wrong


def _zone_sentences(told: PreparationFile, weighings: list[tuple[int, Weighing]]) -> list[str]:
    times = [w.time for _, w in weighings if isinstance(w.time, datetime)]
    times += [told.vial.start] if told.vial.start else []
    if len({t.tzinfo is None for t in times}) > 1:
        return ["weighing: some times have a zone and some have none; write all alike"]
    start = told.vial.start
    if start is not None:
        return [
            f"weighing[{i}].time: {w.time} is before vial.start, {start}"
            for i, w in weighings
            if isinstance(w.time, datetime) and w.time < start
        ]
    return []
