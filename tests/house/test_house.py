"""The habits of the house that a linter does not know."""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted([*(ROOT / "core").rglob("*.py"), *(ROOT / "dashboard").rglob("*.py")])
NAMES = [str(p.relative_to(ROOT)) for p in MODULES]


@pytest.mark.parametrize("path", MODULES, ids=NAMES)
def test_modules_stay_small(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").count("\n")
    assert lines <= 500, f"{path.name} has {lines} lines, at most 500 are wanted: split it"


@pytest.mark.parametrize("path", MODULES, ids=NAMES)
def test_functions_stay_under_60_lines_of_code(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0]
            if ast.get_docstring(node) and len(node.body) > 1:
                first = node.body[1]
            length = (node.end_lineno or 0) - first.lineno + 1
            assert length < 60, f"{path.name}:{node.lineno} {node.name} has {length} lines of code"


@pytest.mark.parametrize("path", MODULES, ids=NAMES)
def test_public_functions_have_a_docstring(path: Path) -> None:
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{path.name}:{node.lineno} {node.name} has no docstring"


def test_everything_the_project_needs_is_pinned() -> None:
    pins = {
        re.split(r"[=@ ]", line)[0].lower().replace("_", "-")
        for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    }
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = list(project["dependencies"])
    for extra in project["optional-dependencies"].values():
        wanted += [w for w in extra if not w.startswith("fathomlight")]
    names = {re.split(r"[\[<>=~! ;]", w)[0].lower().replace("_", "-") for w in wanted}
    assert names <= pins, f"not pinned in constraints.txt: {sorted(names - pins)}"


def test_version_stands_in_one_place_only_once_told() -> None:
    import fathomlight

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert fathomlight.__version__ == project["version"]


def test_readme_has_exactly_two_set_up_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(re.findall(r"^python3 -m venv .*$", text, flags=re.MULTILINE)) == 2
