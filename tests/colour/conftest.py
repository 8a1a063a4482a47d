from __future__ import annotations

import warnings
from typing import Any

import pytest


@pytest.fixture(scope="session")
def colour_science() -> Any:
    """colour-science, an independent implementation; its import warns about optional packages."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("colour")
