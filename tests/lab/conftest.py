from __future__ import annotations

import tomllib

import pytest

from glowkin.lab.preparation_file import PreparationFile, read_preparation


@pytest.fixture
def told():
    """A preparation file from its text."""

    def read(text) -> PreparationFile:
        return PreparationFile.model_validate(tomllib.loads(text))

    return read


@pytest.fixture
def file(tmp_path):
    """Reading a text as a file, as the command does."""

    def read(text):
        path = tmp_path / "prep.toml"
        path.write_text(text, "utf-8")
        return read_preparation(path)

    return read
