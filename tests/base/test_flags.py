from __future__ import annotations

import pytest

from glowkin.base.flags import FLAGS
from glowkin.base.names import split_vial

# The flags fixed in the documented records.
DOCUMENTED = [
    "clipped",
    "underexposed",
    "rendered-file",
    "automatic-white-balance",
    "merged-by-phone",
    "lamp-leakage",
    "room-light",
    "glowing-background",
    "out-of-gamut",
    "no-profile",
    "time-missing",
    "no-start-time",
    "exposure-changed",
    "lamp-off-mismatch",
    "bracket-disagrees",
    "moved",
    "maybe-swapped",
    "uneven-sample",
    "not-a-single-band",
    "lit-by-neighbour",
    "edge-of-frame",
    "camera-unlike-prior",
    "other-camera",
    "other-filter",
    "light-is-not-amount",
    "single-vial",
]


def test_every_documented_flag_is_in_the_table():
    assert set(DOCUMENTED) <= set(FLAGS)


@pytest.mark.parametrize("flag", FLAGS.values(), ids=lambda f: f.name)
def test_a_flag_says_what_is_and_what_to_do_in_sentences(flag):
    for text in (flag.sentence, flag.mend):
        assert text.endswith(".")
        assert text[0].isupper()
        assert "  " not in text


@pytest.mark.parametrize(
    ("name", "condition"),
    [
        ("33 % RH 25 C-2", "33 % RH 25 C"),
        ("open 1", "open"),
        ("open_b", "open"),
        ("control", "control"),
        ("S1", "S1"),
        ("7", "7"),
        ("", ""),
    ],
)
def test_the_condition_is_the_name_without_the_vials_number(name, condition):
    assert split_vial(name)[0] == condition
