"""The documents say what the program does: lines, commands, flags, records and links are checked."""

from __future__ import annotations

import doctest
import importlib.util
import re
import shlex
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from glowkin.base import (
    checks,
    clocks,
    events,
    given,
    ground,
    preparations,
    records,
    references,
    spectra,
    storages,
)
from glowkin.base.flags import FLAGS

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = sorted([*DOCS.glob("*.md"), *DOCS.glob("decisions/*.md")])
DOCUMENTS = [*PAGES, *(ROOT / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md"))]
LINES = (
    "python3 -m venv .venv && .venv/bin/python -m pip install . && .venv/bin/glowkin demo --out demo-report",
    "python3 -m venv .venv && .venv/bin/python -m pip install '.[test]' && .venv/bin/python -m pytest",
)
CAUTIONS = (
    "uv hurts eyes and skin", "eyewear rated for", "reflection", "gloves and sleeves", "ventilate",
    "metal waste", "pressure", "lamp's instructions, local codes", "licensed or supervised practice",
    "never a permission",
)  # fmt: skip
RECORDS = (
    records.Sample, records.CameraUsed, records.MeasuredPhoto, records.Place, records.Comparison,
    records.Ratio, records.TrackPoint, records.ModelFit, records.SampleCourse, storages.CourseComparison,
    records.TimeCourse, checks.Advice, checks.ShotCheck, spectra.SpectrumRead, spectra.Form,
    references.ReferenceRead, given.FormGiven, given.LuminanceRatio, ground.GroundSeen, ground.LampSteadied,
    storages.Vial, storages.StorageCourse, events.Event, clocks.ClockFound,
    clocks.Bleaching, preparations.Remark, preparations.Substance, preparations.Yield,
    preparations.Scaled, preparations.Conversion, preparations.Weighed, preparations.LightPoint,
    preparations.MassCourse, preparations.Preparation,
)  # fmt: skip


def shown(page: Path) -> str:
    return str(page.relative_to(ROOT))


def generator():
    spec = importlib.util.spec_from_file_location("docs_generate", DOCS / "generate.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def blocks(text: str) -> list[str]:
    return [body.strip() for body in re.findall(r"^```[a-z]*\n(.*?)^```", text, re.DOTALL | re.MULTILINE)]


def without_code(text: str) -> str:
    return re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)


def anchors(page: Path) -> set[str]:
    """Headings as addresses, the way both GitHub and MyST make them."""
    heads = re.findall(r"^#{1,6} (.+)$", without_code(page.read_text("utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


def test_the_two_lines_stand_alone_in_the_readme():
    text = (ROOT / "README.md").read_text("utf-8")
    assert [b for b in blocks(text) if "python3 -m venv" in b] == list(LINES)
    assert [line for line in text.splitlines() if line.startswith("python3 -m venv")] == list(LINES)


def test_cautions_come_before_the_first_line_to_run():
    text = (ROOT / "README.md").read_text("utf-8")
    cautions = text[: text.index(LINES[0])].replace("\n> ", " ").lower()
    assert [words for words in CAUTIONS if words not in cautions] == []


@pytest.mark.parametrize("name", ["commands.md", "flags.md"])
def test_generated_pages_are_current(name):
    """If this fails: python docs/generate.py."""
    assert (DOCS / name).read_text("utf-8") == generator().PAGES[name]()


def test_every_command_and_option_is_in_the_reference():
    from glowkin.cli import main

    text = (DOCS / "commands.md").read_text("utf-8")
    for name, command in generator()._commands("", main):
        section = re.split(r"^## ", text, flags=re.MULTILINE)
        own = next(part for part in section if part.startswith(f"glowkin {name}\n"))
        options = [opt for p in command.params for opt in p.opts if opt.startswith("--")]
        assert [opt for opt in options if f"`{opt}" not in own] == []
        assert "Example:" in own


def test_every_flag_is_in_the_docs_with_its_mend():
    text = (DOCS / "flags.md").read_text("utf-8")
    assert [f.name for f in FLAGS.values() if f"| `{f.name}` | {f.sentence} | {f.mend} |" not in text] == []


def test_every_flag_is_raised_somewhere():
    rooms = [f for f in (ROOT / "src" / "glowkin").rglob("*.py") if f.parent.name not in ("base", "telling")]
    code = "".join(f.read_text("utf-8") for f in rooms)
    assert [name for name in FLAGS if f'"{name}"' not in code] == []


def test_flags_named_in_the_docs_exist():
    looks_like = re.compile(r"[Ff]lags?\s+`([a-z-]+)`")
    named = {name for page in DOCUMENTS for name in looks_like.findall(page.read_text("utf-8"))}
    assert len(named) >= 4
    assert named <= set(FLAGS)


def test_every_field_of_the_records_is_described():
    text = (DOCS / "records.md").read_text("utf-8")
    missing = [f"{r.__name__}.{f.name}" for r in RECORDS for f in fields(r) if f"`{f.name}`" not in text]
    assert missing == []


def test_every_rate_model_is_described():
    from glowkin.findings.rate_models import RATE_MODELS

    text = (DOCS / "following-a-change.md").read_text("utf-8")
    assert [name for name in RATE_MODELS if f"| `{name}` |" not in text] == []


@pytest.mark.parametrize("page", DOCUMENTS, ids=shown)
def test_links_lead_somewhere(page):
    text = without_code(page.read_text("utf-8"))
    for target in re.findall(r"\[[^\]]+\]\(([^)\s]+)\)", text):
        if target.startswith("https://"):
            continue
        path, _, anchor = target.partition("#")
        to = (page.parent / path).resolve() if path else page
        assert to.exists(), f"{shown(page)}: {target}"
        assert not anchor or anchor in anchors(to), f"{shown(page)}: {target}"


def test_every_page_is_in_a_table_of_contents():
    listed = set()
    for index in (DOCS / "index.md", DOCS / "decisions" / "index.md"):
        for body in re.findall(
            r"^```\{toctree\}\n(.*?)^```", index.read_text("utf-8"), re.DOTALL | re.MULTILINE
        ):
            listed |= {(index.parent / f"{n}.md") for n in body.split("\n") if n and not n.startswith(":")}
    unlisted = {page for page in PAGES if page.read_text("utf-8").startswith("---\norphan: true")}
    assert listed == set(PAGES) - {DOCS / "index.md"} - unlisted
    assert unlisted == {DOCS / "progress.md"}


@pytest.mark.parametrize("page", ["python.md", "tutorial.md"])
def test_the_python_examples_run(page, monkeypatch, tmp_path):
    (tmp_path / "sample_images").symlink_to(ROOT / "sample_images")
    monkeypatch.chdir(tmp_path)
    text = "\n".join(blocks((DOCS / page).read_text("utf-8")))
    example = doctest.DocTestParser().get_doctest(text + "\n", {}, page, page, 0)
    assert len(example.examples) > 15
    runner = doctest.DocTestRunner(verbose=False, optionflags=doctest.REPORT_ONLY_FIRST_FAILURE)
    said: list[str] = []
    assert runner.run(example, out=said.append).failed == 0, "".join(said)


def figures(text: str) -> tuple[list[str], list[float]]:
    """The words of a printed table, each number replaced by #, and the numbers."""
    number = r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])"
    lines = [" ".join(line.split()) for line in text.splitlines() if line.strip(" ─")]
    return [re.sub(number, "#", line) for line in lines], [
        float(n) for n in re.findall(number, "\n".join(lines))
    ]


@pytest.mark.parametrize("command", ["measure", "compare"])
def test_the_readme_shows_what_is_printed(command, monkeypatch):
    """Words as they are, figures within their rounding and what another build of the mathematics may move."""
    from click.testing import CliRunner

    from glowkin.cli import main

    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "200")
    text = (ROOT / "README.md").read_text("utf-8").replace(" \\\n", " ")
    shown_here = next(b for b in blocks(text) if b.startswith(f"$ glowkin {command} "))
    line, _, output = shown_here.partition("\n")
    printed = CliRunner().invoke(main, shlex.split(line.removeprefix("$ glowkin "))).stdout
    words, numbers = figures(output)
    now, numbers_now = figures(printed)
    assert words == now[: len(words)]
    assert numbers == pytest.approx(numbers_now[: len(numbers)], rel=0.12, abs=0.011)


def test_the_changelog_knows_this_version():
    from glowkin import __version__

    assert f"## {__version__}" in (ROOT / "CHANGELOG.md").read_text("utf-8")


def test_every_benchmark_is_in_the_developers_list():
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    assert [f.name for f in (ROOT / "benchmarks").glob("*.py") if f"`benchmarks/{f.name}`" not in text] == []


def test_every_picture_of_the_handbook_is_shown_and_has_its_words():
    """``docs/examples.py`` writes pictures and captions; all of them are in the chapter, and small."""
    text = (DOCS / "shooting.md").read_text("utf-8")
    captions = (DOCS / "examples.txt").read_text("utf-8")
    names = re.findall(r"^<!-- end of (.+) -->$", captions, re.MULTILINE)
    assert len(names) >= 14
    assert [n for n in names if f':start-after: "<!-- {n} -->"' not in text] == []
    pictures = re.findall(r"^```\{figure\} (\S+)", captions, re.MULTILINE)
    files = [DOCS / name for name in pictures]
    assert sorted(files) == sorted((DOCS / "_static" / "shooting").iterdir())
    assert sum(f.stat().st_size for f in files) < 1_500_000


def test_the_handbook_quotes_what_check_says_today(tmp_path):
    """One pair made anew, figures within a tenth; if this fails: python docs/examples.py."""
    spec = importlib.util.spec_from_file_location("docs_examples", DOCS / "examples.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["docs_examples"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    (shaken,) = (e for e in module.EXAMPLES if e.name == "shaken")
    words, numbers = figures(module.example(shaken, tmp_path)[1])
    captions = (DOCS / "examples.txt").read_text("utf-8").splitlines()
    quoted = next(line for line in captions if "taken by hand: *" in line)
    assert figures(quoted)[0] == words
    assert figures(quoted)[1] == pytest.approx(numbers, rel=0.1)


def test_every_cause_that_check_names_is_in_the_handbook():
    text = (DOCS / "shooting.md").read_text("utf-8")
    code = "".join(f.read_text("utf-8") for f in (ROOT / "src/glowkin/findings").glob("check*.py"))
    named = set(re.findall(r'Advice\(\s*"([a-z-]+)"', code)) | {n for n in FLAGS if f'return "{n}"' in code}
    assert len(named) > 20
    assert [n for n in sorted(named) if f"| `{n}` |" not in text] == []
