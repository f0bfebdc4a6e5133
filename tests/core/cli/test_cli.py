"""The command line as a person types it: words, JSON, exit codes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest


def run(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    code = "from fathomlight.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        cwd=cwd,
        timeout=240,
        check=False,
    )


def test_help_names_every_verb() -> None:
    text = run("--help").stdout
    for verb in ("demo", "init", "check", "load", "status", "trend", "trophic", "alerts", "fish", "export", "serve",
                 "withdraw", "template"):  # fmt: skip
        assert f"  {verb} " in text


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom fathomlight.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'pandas', 'numpy', 'scipy', 'plotly', 'streamlit', 'xarray'} & set(sys.modules)\n"
        "sys.exit(f'imported {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("status",),
        ("trend", "--station", "VEL-1"),
        ("trend", "--all"),
        ("trophic", "--station", "QUE-2"),
        ("habitat", "vellumere"),
        ("alerts",),
        ("alerts", "--try", "murky-for-the-season", "--since", "2020-01-01"),
        ("fish", "--gear", "gill net"),
    ],
)
def test_json_is_nothing_but_json(own_workspace: Path, words: tuple[str, ...]) -> None:
    done = run(*words, "--workspace", str(own_workspace), "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer


def test_bad_rows_give_exit_code_1_and_bad_use_2(own_workspace: Path, tmp_path: Path) -> None:
    where = ("--workspace", str(own_workspace))
    held = own_workspace / "data" / "hold_back"
    assert run("check", str(held / "good_week.csv"), "--recipe", "demo-crew", *where).returncode == 0
    bad = run("load", str(held / "bad_week.csv"), "--recipe", "demo-crew", *where)
    assert bad.returncode == 1
    assert "murky" in bad.stdout
    assert run("check", str(tmp_path / "nowhere.csv"), "--recipe", "demo-crew", *where).returncode == 2
    assert run("trend", "--station", "NOPE-1", *where).returncode == 2
    assert run("status", "--as-of", "yesterday", *where).returncode == 2
    assert run("status", "--workspace", str(tmp_path)).returncode == 2


def test_a_column_may_be_stated_instead_of_a_recipe(own_workspace: Path, tmp_path: Path) -> None:
    where = ("--workspace", str(own_workspace))
    path = tmp_path / "week.csv"
    path.write_text("Stn,When,Depth\nVellumere deep hole,2025-06-05,18\n", "utf-8")
    left_open = run("check", str(path), *where)
    assert left_open.returncode == 2
    assert "No column is a measured value" in left_open.stderr
    wrong = run("check", str(path), "--column", "Depth=colour", *where)
    assert wrong.returncode == 2
    assert "not a meaning of a column" in wrong.stderr
    done = run("load", str(path), "--column", "Depth=secchi ft", "--json", *where)
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert (report["n_new"], report["n_refused"]) == (1, 0)
    assert report["preview"][0]["value"] == pytest.approx(18 * 0.3048)


def test_open_episodes_give_exit_code_1_only_when_asked(own_workspace: Path) -> None:
    where = ("--workspace", str(own_workspace))
    assert run("alerts", *where).returncode == 0
    assert run("alerts", "--exit-code", *where).returncode == 1


def test_init_then_template(tmp_path: Path) -> None:
    assert run("init", str(tmp_path / "mine")).returncode == 0
    done = run("template", str(tmp_path / "visits.xlsx"), "--workspace", str(tmp_path / "mine"))
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "visits.xlsx").stat().st_size > 1000


def test_an_error_is_one_line_and_no_traceback(tmp_path: Path) -> None:
    done = run("status", "--workspace", str(tmp_path))
    assert "Traceback" not in done.stderr
    assert "fathomlight init" in done.stderr
