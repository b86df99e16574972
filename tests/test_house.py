"""The house rules that a machine can check: imports run one way, modules stay small, everything is documented."""

from __future__ import annotations

import ast
import hashlib
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "drivesim"
ROOT = PACKAGE.parent

BELOW_STUDIES = {"analysis", "engine", "physics", "ground", "drive", "scenario", "units", "errors"}
STUDIES = {"study", "sizing", "fitting", "tuning"}

#: each part of the house and what it may import of ours (besides itself)
ALLOWED = {
    "physics": {"_compile"},
    "ground": {"_compile"},
    "drive": {"_compile", "physics"},
    "units": {"errors"},
    "errors": set(),
    "_compile": set(),
    "scenario": {"units", "errors"},
    "engine": {"_compile", "physics", "ground", "drive", "scenario", "units", "errors"},
    "analysis": {"engine", "physics", "ground", "drive", "scenario", "units", "errors"},
    "study": {"analysis", "engine", "scenario", "units", "errors", "_compile"},
    "sizing": BELOW_STUDIES,
    "fitting": BELOW_STUDIES | {"study"},
    "tuning": BELOW_STUDIES | {"study"},
    "plots": BELOW_STUDIES | STUDIES,
    "report": {"plots", "analysis", "engine", "scenario", "units", "errors"} | STUDIES,
    "cli": {"_compile", "report", "plots", "analysis", "engine", "scenario", "units", "errors"} | STUDIES,
    "__main__": {"cli"},
    "__init__": {"report", "analysis", "scenario", "errors"} | STUDIES,
}
MODULES = sorted(PACKAGE.rglob("*.py"))
SCRIPTS = sorted(p for p in (PACKAGE / "report" / "assets").glob("*.js") if ".min." not in p.name)


def part_of(path: Path) -> str:
    relative = path.relative_to(PACKAGE)
    return relative.parts[0].removesuffix(".py")


def imported_parts(tree: ast.Module) -> set[str]:
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, "relative imports hide where a thing comes from"
            base = [node.module] if node.module != "drivesim" else [f"drivesim.{a.name}" for a in node.names]
            names |= set(base)
    return {name.split(".")[1] for name in names if name.startswith("drivesim.")}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_imports_run_one_way(path):
    found = imported_parts(ast.parse(path.read_text(encoding="utf-8")))
    part = part_of(path)
    assert found - {part} <= ALLOWED[part]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_modules_are_small_and_documented(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 320
    tree = ast.parse(text)
    assert ast.get_docstring(tree), "a module says what it holds"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} has no docstring"


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_scripts_of_the_page_are_small_and_say_what_they_hold(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 320
    assert text.startswith("// ")
    assert not re.search(r"innerHTML|insertAdjacentHTML|document\.write|eval\(|new Function", text), (
        "texts stay texts"
    )


def test_units_are_known_in_one_place_only():
    """pint and YAML stay at the edge, matplotlib in plots, jinja2 in report, click in cli."""
    homes = {
        "pint": "units",
        "yaml": "scenario",
        "matplotlib": "plots",
        "click": "cli",
        "rich": "cli",
        "simpy": "engine",
        "jinja2": "report",
    }
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        for library, home in homes.items():
            if re.search(rf"^\s*(import|from) {library}\b", text, re.MULTILINE):
                assert part_of(path) == home, f"{path.name} imports {library}"


def test_the_embedded_library_is_as_it_was_published():
    """uPlot 1.6.32, MIT, dist/uPlot.iife.min.js and dist/uPlot.min.css of its npm package."""
    published = {
        "uplot.min.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
        "uplot.min.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
    }
    for name, digest in published.items():
        found = hashlib.sha256((PACKAGE / "report" / "assets" / name).read_bytes()).hexdigest()
        assert found == digest, f"{name} was changed"


def test_top_level_holds_only_what_was_agreed():
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "drivesim",
        "scenarios",
        "tests",
        "docs",
        "LICENSE",
    }
    visible = {
        p.name
        for p in ROOT.iterdir()
        if not p.name.startswith(".") and p.name not in {"runs", "build", "dist"}
    }
    assert {name for name in visible if not name.endswith(".egg-info")} <= agreed


def test_version_is_told_once():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    version = re.search(r'^version = "(.+)"', text, re.MULTILINE)[1]
    assert f"## {version}" in (ROOT / "docs" / "changelog.md").read_text(encoding="utf-8")
