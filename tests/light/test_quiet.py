"""Native decoders write to standard error past Python; what they say is not for the user."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from concurrent.futures import ThreadPoolExecutor

import pytest

from glowkin.base.errors import CannotReadError
from glowkin.light.decode import open_photo
from glowkin.light.quiet import quiet


def test_a_broken_raw_file_is_told_in_our_sentence_only(tmp_path):
    path = tmp_path / "broken.dng"
    path.write_bytes(b"II*\x00\x08\x00\x00\x00" + bytes(4000))
    code = textwrap.dedent(f"""
        from glowkin.base.errors import CannotReadError
        from glowkin.light.decode import open_photo
        try:
            open_photo({str(path)!r})
        except CannotReadError as error:
            print(error)
    """)
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert "convert it to DNG" in run.stdout
    assert run.stderr == ""


def test_standard_error_comes_back_after_many_threads(capfd, tmp_path):
    import os

    path = tmp_path / "broken.dng"
    path.write_bytes(b"II*\x00\x08\x00\x00\x00" + bytes(4000))

    def bad(_):
        with pytest.raises(CannotReadError), quiet():
            open_photo(path)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(bad, range(24)))
    os.write(2, b"heard again")
    assert capfd.readouterr().err == "heard again"
