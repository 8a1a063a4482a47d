"""The rules of the house: data goes one way, help is cheap, modules stay small."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src" / "glowkin"
STATIONS = (
    "base", "colour", "light", "camera", "samples", "findings", "lab", "telling", "recipes", "run",
    "study", "doors",
)  # fmt: skip
DOORS = (
    "", "api", "session", "spectra", "terminal", "watching", "planning", "matching", "preparing", "demo",
    "options", "studied", "studying", "studies", "bookkeeping", "concluding", "showing", "exporting",
    "giving", "calibrating", "cli", "__main__",
)  # fmt: skip
"""The empty one is glowkin/__init__.py."""
MODULES = sorted(SOURCE.rglob("*.py"))
HEAVY = ("numpy", "cv2", "scipy", "matplotlib", "rawpy", "skimage", "colour", "PIL", "rich", "jinja2")
STRAY = ("/wo" + "rk/", "/tm" + "p/", "index" + "-url", ".lib" + "rary", "files.python" + "hosted")


def name_of(module: Path) -> str:
    parts = module.relative_to(SOURCE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(module: Path, text: str | None = None) -> set[str]:
    """Every glowkin module it imports, anywhere in it: inside functions and for type checking as well."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(text or module.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            package = _absolute(node, module)
            found |= {package} if package != "glowkin" else {f"glowkin.{a.name}" for a in node.names}
    return {name for name in found if name == "glowkin" or name.startswith("glowkin.")}


def _absolute(node: ast.ImportFrom, module: Path) -> str:
    if not node.level:
        return node.module or ""
    package = name_of(module).split(".")
    if module.name != "__init__.py":
        package = package[:-1]
    base = package[: len(package) - node.level + 1]
    return ".".join([*base, *([node.module] if node.module else [])])


def station_of(name: str) -> str:
    room = [*name.split("."), ""][1]
    return "doors" if room in DOORS else room


def rooms_broken(name: str, imported: set[str]) -> list[str]:
    """The imports of a module that do not point backwards."""
    own, broken = station_of(name), []
    for other in sorted(imported):
        room = station_of(other)
        if room in ("__version__", own):
            continue
        if own == "scene":
            wrong = room not in ("base", "colour")
        else:
            wrong = room not in STATIONS or STATIONS.index(room) >= STATIONS.index(own)
        if wrong:
            broken.append(f"{name} imports {other}")
    return broken


def test_every_room_is_on_the_map():
    rooms = {station_of(name_of(module)) for module in MODULES}
    assert rooms <= {*STATIONS, "scene"}


@pytest.mark.parametrize("module", MODULES, ids=name_of)
def test_imports_point_backwards(module):
    assert rooms_broken(name_of(module), imports_of(module)) == []


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("light/photo.py", "from glowkin.findings.track import Plan"),
        ("base/flags.py", "def late():\n    import glowkin.telling.report"),
        ("light/photo.py", "from ..camera import emission"),
        ("cli.py", "from glowkin.scene.sample_images import write_all"),
        ("cli.py", "from glowkin import scene"),
        ("scene/stage.py", "from glowkin.light.decode import open_photo"),
    ],
)
def test_the_import_check_sees_a_wrong_import(module, text):
    path = SOURCE / module
    assert len(rooms_broken(name_of(path), imports_of(path, text))) == 1


@pytest.mark.parametrize("module", MODULES, ids=name_of)
def test_modules_stay_small(module):
    assert len(module.read_text("utf-8").splitlines()) <= 400


def commands() -> list[str]:
    from glowkin.cli import main

    return [
        "",
        *sorted(main.commands),
        "camera fit",
        "camera import",
        *(f"study {name}" for name in main.commands["study"].commands),
    ]


@pytest.mark.parametrize("command", commands())
def test_help_is_cheap(command):
    asked = [*command.split(), "--help"]
    code = (
        "import json, sys\nfrom glowkin.cli import main\n"
        f"main.main({asked!r}, prog_name='glowkin', standalone_mode=False)\n"
        f"sys.stderr.write(json.dumps([m for m in {HEAVY!r} if m in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert "Usage: glowkin" in done.stdout
    assert json.loads(done.stderr) == []


def test_importing_glowkin_is_cheap():
    code = f"import sys, glowkin\nprint([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout.strip() == "[]"


def test_nothing_of_the_machine_it_was_written_on(root):
    kinds = ("*.py", "*.md", "*.toml", "*.html", "*.json", "run")
    folders = ("src", "tests", "docs", "benchmarks", "sample_images", ".ci")
    files = {f for folder in folders for kind in kinds for f in (root / folder).rglob(kind)}
    files |= {root / "README.md", root / "DEVELOPERS.md", root / "CHANGELOG.md", root / "pyproject.toml"}
    kept = sorted(f for f in files if f.is_file() and "_build" not in f.parts)
    assert len(kept) > 100
    found = [(f.name, word) for f in kept for word in STRAY if word in f.read_text("utf-8")]
    assert found == []
