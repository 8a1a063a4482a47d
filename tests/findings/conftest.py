from __future__ import annotations

import warnings

import pytest


@pytest.fixture(scope="session")
def colour_science():
    """colour-science, an independent implementation; its import warns about optional packages."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("colour")
