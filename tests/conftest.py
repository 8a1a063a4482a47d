from __future__ import annotations

import os
from pathlib import Path

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""Threads within small matrices cost more than they gain; set before the first import of numpy."""

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="session")
def root() -> Path:
    """The checkout."""
    return ROOT


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """The folder of reference data that is not part of the project; a test that needs it skips without it."""
    folder = Path(os.environ.get("GLOWKIN_SHARED_DATA", ROOT.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip("the reference data beside the checkout are not here")
    return folder


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory):
    """Tables made by the code under test, none kept from before; and a terminal of the usual width."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        patch.setenv("COLUMNS", "120")
        yield
