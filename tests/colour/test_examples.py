from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import glowkin.colour

MODULES = [f"glowkin.colour.{module.name}" for module in pkgutil.iter_modules(glowkin.colour.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_run(name: str) -> None:
    # The outputs in the docstrings are the check; a module without any would pass unseen.
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0
    assert result.failed == 0
