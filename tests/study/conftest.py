from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.stage import two_reds_and_green


@pytest.fixture(scope="session")
def rendered(tmp_path_factory) -> Path:
    """Small photographs of two reds and a green, an hour apart."""
    folder = tmp_path_factory.mktemp("rendered")
    scene, rng = two_reds_and_green((450, 300)), np.random.default_rng(1)
    for hour in (9, 10, 11):
        shot = photograph(scene, default_camera(), rng)
        at = replace(shot.exposure, taken_at=Exposure().taken_at.replace(hour=hour))
        write_jpeg(replace(shot, exposure=at), folder / f"{hour:02d}.jpg")
    return folder


@pytest.fixture
def photos(rendered, tmp_path) -> Path:
    """The photographs of one test, to be moved and spoiled."""
    return Path(shutil.copytree(rendered, tmp_path / "shots"))


@pytest.fixture
def study(tmp_path) -> Path:
    """A new study beside them."""
    folder = tmp_path / "drying"
    assert run("new", folder, "--title", "Drying").exit_code == 0
    return folder


def run(*arguments):
    return CliRunner().invoke(main, ["study", *map(str, arguments)])


@pytest.fixture(name="run")
def run_fixture():
    return run


@pytest.fixture
def start():
    """The command as a process of its own."""

    def started(*arguments, **more):
        command = [sys.executable, "-m", "glowkin", "study", *map(str, arguments)]
        # a run that was itself started in the background passes over interrupts
        return subprocess.Popen(  # noqa: S603
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
            **more,
        )

    return started
