from __future__ import annotations

import warnings
from typing import Any

import pytest
from hypothesis import settings

# The first example pays for reading tables; time is measured elsewhere.
settings.register_profile("no-deadline", deadline=None)
settings.load_profile("no-deadline")


@pytest.fixture(scope="session")
def colour_science() -> Any:
    """colour-science, an independent implementation; its import warns about optional packages."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("colour")
