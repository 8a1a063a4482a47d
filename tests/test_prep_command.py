"""``glowkin prep`` from the command line."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import sys

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from glowkin.base.records import to_json
from glowkin.cli import main
from glowkin.preparing import prepared


def run(*arguments):
    return CliRunner().invoke(main, ["prep", *map(str, arguments)])


@pytest.fixture
def sample(root, tmp_path):
    path = tmp_path / "preparation.toml"
    shutil.copy(root / "sample_images" / "preparation.toml", path)
    return path


@pytest.fixture
def track(tmp_path):
    """A track record of the sample's vial, invented: half over after 6 h, as the demo's story has it."""
    path = tmp_path / "track.json"
    left = {0: 1.0, 3: 0.84, 6: 0.5, 12: 0.0625, 24: 0.0, 48: 0.0}
    points = [
        {"time_s": 3600.0 * h, "path": f"{h}.dng", "fraction_start": f, "low": f - 0.03, "high": f + 0.03,
         "light_fraction_start": f / 5, "u_prime": 0.1, "v_prime": 0.5, "luminance_relative": 1.0}
        for h, f in left.items()
    ]  # fmt: skip
    course = {
        "name": "MgCl2-25C-1", "verdict": "changing", "two_forms_suffice": True,
        "luminance_ratio": {"value": 10.0, "low": 9.0, "high": 11.0}, "stops_at": None, "model": None,
        "not_excluded": [], "half_time_s": None, "half_time_interval_s": None, "light_half_time_s": None,
        "longer_than_s": None, "models": [], "points": points,
    }  # fmt: skip
    record = {
        "schema": "glowkin.track.v1",
        "samples": [course],
        "comparisons": [],
        "start": "2026-05-04T09:00",
    }
    path.write_text(json.dumps(record), "utf-8")
    return path


def test_one_document_is_printed_and_python_gives_the_same(sample):
    done = run(sample, "--json", "--scale", "2")
    document = json.loads(done.stdout)
    assert done.exit_code == 0
    assert (document["schema"], document["errors"]) == ("glowkin.prep.v1", [])
    assert document["source"]["file"] == "preparation.toml"
    assert len(document["source"]["sha256"]) == 64
    prep = prepared(sample, scale=2.0)
    assert document["preparation"] == json.loads(json.dumps(to_json(prep)))
    assert prep.reaction_yield.limiting == ("diammonium bromide",)
    assert prep.scaled.factor == 2.0
    assert prep.conversions[0].gives_off == ("2 H2O",)
    assert prep.course.verdict == "no light"
    assert "<table>" in prep._repr_html_() + prep.course._repr_html_()
    assert prep.rows()[2]["formula"] == "(C6H14N2)[MnBr4(H2O)2]"


def test_the_page_shows_what_is_printed(root, monkeypatch):
    monkeypatch.chdir(root)
    monkeypatch.setenv("COLUMNS", "160")
    page = (root / "docs" / "preparation.md").read_text("utf-8")
    shown = page.split("$ glowkin prep sample_images/preparation.toml\n")[1].split("```")[0]
    printed = run("sample_images/preparation.toml").stdout
    assert shown.split() == printed.split()


def test_the_python_example_of_the_page_runs(root, monkeypatch):
    import doctest

    monkeypatch.chdir(root)
    page = (root / "docs" / "preparation.md").read_text("utf-8")
    text = page.split("```python\n")[1].split("```")[0]
    example = doctest.DocTestParser().get_doctest(text, {}, "preparation.md", "preparation.md", 0)
    assert len(example.examples) >= 5
    said: list[str] = []
    assert doctest.DocTestRunner(verbose=False).run(example, out=said.append).failed == 0, "".join(said)


def test_every_remark_is_in_the_page(root):
    import re

    page = (root / "docs" / "preparation.md").read_text("utf-8")
    code = "".join(
        (root / "src/glowkin/lab" / f"{n}.py").read_text("utf-8") for n in ("preparation", "weighings")
    )
    causes = re.findall(r'Remark\(\s*"([^"]+)"', code)
    assert len(causes) >= 10
    assert [c for c in causes if f"| {c} |" not in page] == []


def test_the_sample_says_that_it_is_invented(root):
    assert "Invented" in (root / "sample_images" / "preparation.toml").read_text("utf-8").splitlines()[0]


def test_cautions_come_with_every_answer(sample):
    said = " ".join(run(sample).stdout.split())
    assert "Arithmetic, not a procedure." in said
    assert "local codes and licensed or supervised practice come first" in said


def test_light_stands_beside_mass(sample, track, tmp_path):
    done = run(sample, "--track", track, "--out", tmp_path / "out")
    assert done.exit_code == 0
    assert "Mass lags light: expected if the surface converts first." in " ".join(done.stdout.split())
    out = tmp_path / "out"
    document = json.loads((out / "prep.json").read_text("utf-8"))
    assert document["preparation"]["course"]["verdict"] == "mass lags light"
    assert document["settings"]["track"]["file"] == "track.json"
    assert "molmass" in document["versions"]
    assert len(document["preparation"]["course"]["light"]) == 6
    svg = (out / "figures" / "mass_and_light.svg").read_text("utf-8")
    assert "by mass" in svg
    assert "by light" in svg
    assert (out / "figures" / "mass_and_light.png").stat().st_size > 10_000
    rows = list(csv.DictReader((out / "weighings.csv").read_text("utf-8").splitlines()))
    assert float(rows[2]["converted by light (1)"]) == pytest.approx(0.5)
    substances = list(csv.DictReader((out / "substances.csv").read_text("utf-8").splitlines()))
    assert float(substances[2]["formula mass (g/mol)"]) == pytest.approx(524.776)
    assert all("(" in head or head in ("name", "role", "formula") for head in substances[0])


def test_the_same_file_gives_the_same_bytes(sample, track, tmp_path):
    for name in ("one", "two"):
        assert run(sample, "--track", track, "--out", tmp_path / name).exit_code == 0
    for file in ("prep.json", "weighings.csv", "figures/mass_and_light.svg", "figures/mass_and_light.png"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()


WRONG = """
titel = "x"
[[conversion]]
from = "BaCl2.2H2O"
to = "BaCl2"
gives_off = ["H2O"]
[[conversion]]
from = "x"
to = "BaCl2"
[[conversion]]
from = "BaCl2.2H2O"
to = "BaCl2"
[balance]
linearity_g = -1
[product]
name = "p"
formula = "NaCl"
mass_uncertainty_g = 0.1
[[solvent]]
name = "water"
[[reagent]]
name = "a"
formula = "Xx2O"
mas_g = 1
[[reagent]]
name = "b"
formula = "nacl"
mass_g = -3
purity_percent = 120
[[reagent]]
name = "b"
formula = "HBr"
mass_g = 1
volume_ml = "x"
concentration_mol_per_l = 1
purity_percent = 98
[[weighing]]
time = "soon"
mass_g = nan
"""


def test_all_that_is_wrong_is_told_at_once_with_the_nearest_key(tmp_path):
    path = tmp_path / "wrong.toml"
    path.write_text(WRONG, "utf-8")
    done = run(path)
    assert done.exit_code == 1
    for words in (
        "titel: there is no such key; nearest: title",
        "balance.linearity_g: must be greater than or equal to 0",
        "reagent[1].formula: 'Xx2O': there is no element Xx",
        "reagent[1].mas_g: there is no such key; nearest: mass_g",
        "reagent[2].formula: 'nacl' cannot be read",
        "reagent[2].mass_g: must be greater than 0",
        "reagent[2].purity_percent: must be less than or equal to 100",
        "weighing[1].time: must be a time after the start, such as '6h'",
        "weighing[1].mass_g: must be a number, and not infinite",
        "conversion[1]: does not balance (H 2 left over, O 1 left over)",
        "conversion[2].from: 'x'",
        "conversion[3]: does not balance (H 4 left over, O 2 left over)",
        "product: mass_uncertainty_g without mass_g",
        "solvent[1]: needs one of volume_ml and mass_g",
        "reagent[3].volume_ml: must be a number",
        "reagent[3]: has both mass_g and volume_ml",
        "reagent[3]: a concentration counts the substance itself",
        "'b' is named twice",
        "weighing: one says nothing of a change",
    ):
        assert words in done.stderr
    document = json.loads(run(path, "--json").stdout)
    assert document["preparation"] is None
    assert len(document["errors"]) == 19
    assert {row["path"] for row in document["errors"]} == {str(path)}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "names no substance"),
        ("x = ", "no TOML that can be read"),
        (f"x = {'9' * 5000}", "no TOML that can be read"),
        ("[vial]\nstart = 2026-05-04\n", "vial.start: must be a date with a time of day"),
        ("[vial]\nstart = 5\n", "vial.start: must be a date with a time of day"),
        (
            "[[weighing]]\ntime = '2026-05-04'\nmass_g = 1\n",
            "weighing[1].time: must be a time after the start",
        ),
        (f"[[weighing]]\ntime = '{'9' * 400}h'\nmass_g = 1\n", "weighing[1].time: must be a time after"),
        ("reagent = 3", "reagent: must be a list"),
        (
            "[[reagent]]\nname = 'a'\nformula = 'NaCl'\nmass_g = 1\n"
            "[product]\nname = 'p'\nformula = 'NaBr'\n",
            "the equation lacks Br: the reagents hold 0, the products need 1",
        ),
        (
            "[[conversion]]\nfrom = 'CuSO4.5H2O'\nto = 'CuSO4'\ngives_off = ['4 H2O']\n",
            "conversion[1]: does not balance (O 1 left over, H 2 left over)",
        ),
        (
            "[[conversion]]\nfrom = 'Fe^2+'\nto = 'Fe^3+'\n",
            "conversion[1]: does not balance (charge -1 left over)",
        ),
        ("[[reagent]]\nname = 'a'\nformula = 'HBr'\nvolume_ml = 3\n", "needs one of density_g_per_ml and"),
        (
            "[[reagent]]\nname = 'a'\nformula = 'HBr'\n",
            "has no amount; give mass_g or volume_ml, or in_excess",
        ),
        ("[[reagent]]\nname = 'a'\nformula = 'HBr'\nmass_g = 1e300\n", "must be between 1e-09 and 1e+09"),
        (
            "[[reagent]]\nname = 'a'\nformula = 'HBr'\nmass_g = 0.01\n[balance]\nrepeatability_g = 0.01\n",
            "too uncertain to reckon with: mass of a, 0.01 ± 0.014",
        ),
        (
            "[[conversion]]\nfrom = 'MnBr2'\nto = 'MnBr2'\n"
            "[[weighing]]\ntime = '0h'\nmass_g = 1\n[[weighing]]\ntime = '1h'\nmass_g = 1\n",
            "changes no mass",
        ),
        ("[[weighing]]\ntime = '1h'\nmass_g = 3\n[vial]\ntare_g = 4\n", "3 g is not above the tare, 4 g"),
    ],
)
def test_wrong_files_are_told_in_sentences(text, said, tmp_path):
    path = tmp_path / "wrong.toml"
    path.write_text(text, "utf-8")
    done = run(path)
    assert done.exit_code == 1
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_other_wrong_uses(sample, tmp_path):
    assert run(tmp_path / "none.toml").exit_code == 1
    assert "is a folder" in run(tmp_path).stderr
    assert run(sample, "--scale", "2", "--to-yield", "3").exit_code == 2
    for size in ("-1", "0", "inf", "nan", "1e300"):
        assert run(sample, "--scale", size).exit_code == 2
        assert run(sample, "--to-yield", size).exit_code == 2
    other = tmp_path / "other.json"
    other.write_text("{}", "utf-8")
    assert "is no glowkin.track.v1 record" in run(sample, "--track", other).stderr
    other.write_text('{"schema": "glowkin.track.v1", "samples": [{}]}', "utf-8")
    assert "is incomplete" in run(sample, "--track", other).stderr
    for text in ("[", "[" * 200_000):
        other.write_text(text, "utf-8")
        assert "no JSON" in run(sample, "--track", other).stderr


@pytest.mark.parametrize(
    ("key", "value"), [("time_s", "soon"), ("fraction_start", float("nan")), ("low", [])]
)
def test_a_track_record_with_wrong_figures_is_told(key, value, sample, track):
    record = json.loads(track.read_text("utf-8"))
    record["samples"][0]["points"][1][key] = value
    track.write_text(json.dumps(record), "utf-8")
    assert "this track record is incomplete; make it anew" in run(sample, "--track", track).stderr


@pytest.mark.parametrize("start", ["soon", 3])
def test_a_track_record_with_a_wrong_start_is_told(start, sample, track):
    record = json.loads(track.read_text("utf-8"))
    track.write_text(json.dumps({**record, "start": start}), "utf-8")
    assert "this track record is incomplete; make it anew" in run(sample, "--track", track).stderr


def test_a_wrong_sample_is_told(sample, track):
    done = run(sample, "--track", track, "--sample", "B")
    assert done.exit_code == 1
    assert "no sample 'B'; there are MgCl2-25C-1" in done.stderr


NUMBER = st.one_of(
    st.floats(1e-9, 1e9),
    st.floats(0.01, 10.0),
    st.sampled_from([0.5, 1.0, 100.0, 1e-9, 1e9, 0.0, float("inf")]),
)
FORMULA = st.sampled_from(["MnBr2.4H2O", "MnBr2", "H2O", "HBr", "H2MnBr4", "HBr", "H2O", "Xx", "Na+"])
KEYS = ("mass_g", "volume_ml", "density_g_per_ml", "purity_percent", "mass_uncertainty_g", "coefficient")


@st.composite
def any_file(draw):
    """A preparation file that may be right, and may be wrong anywhere."""
    lines = ["[balance]", f"repeatability_g = {draw(NUMBER)}"] if draw(st.booleans()) else []
    for _ in range(draw(st.integers(0, 3))):
        lines += ["[[reagent]]", f"name = 'n{len(lines)}'", f"formula = '{draw(FORMULA)}'"]
        keys = draw(st.one_of(st.just({"mass_g"}), st.sets(st.sampled_from(KEYS), max_size=3)))
        lines += [f"{key} = {draw(NUMBER)}" for key in sorted(keys)]
    if draw(st.booleans()):
        lines += ["[product]", "name = 'p'", f"formula = '{draw(FORMULA)}'", f"mass_g = {draw(NUMBER)}"]
    if draw(st.booleans()):
        lines += ["[[conversion]]", "from = 'MnBr2.4H2O'", "to = 'MnBr2'", "gives_off = ['4 H2O']"]
        for i in range(draw(st.integers(0, 4))):
            lines += ["[[weighing]]", f"time = '{i}h'", f"mass_g = {draw(NUMBER)}"]
    return "\n".join(lines)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(any_file())
def test_no_file_ends_in_a_traceback_or_in_what_json_has_not(tmp_path, text):
    path = tmp_path / "any.toml"
    path.write_text(text, "utf-8")
    done = run(path, "--json")
    assert done.exit_code in (0, 1)
    assert done.exception is None or isinstance(done.exception, SystemExit)
    assert (json.loads(done.stdout)["preparation"] is None) == (done.exit_code == 1)
    assert run(path).exit_code == done.exit_code


def test_reckoning_needs_no_numerical_library(sample):
    """It answers at once: neither numpy nor matplotlib is loaded before a figure is drawn."""
    code = (
        "import sys\nfrom pathlib import Path\nfrom glowkin.preparing import prepared\n"
        f"prepared(Path({str(sample)!r}))\n"
        "print([m for m in ('numpy', 'matplotlib', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout.strip() == "[]"
