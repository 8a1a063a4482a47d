"""The examples in the docstrings of the lab's modules run."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import glowkin.lab

NAMES = sorted(f"glowkin.lab.{f.stem}" for f in Path(glowkin.lab.__file__).parent.glob("[a-z]*.py"))


def test_there_are_examples():
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = [t for name in NAMES for t in finder.find(importlib.import_module(name)) if t.examples]
    assert len(found) >= 4


@pytest.mark.parametrize("name", [*NAMES, "glowkin.base.durations", "glowkin.telling.preparation_page"])
def test_examples_run(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0
