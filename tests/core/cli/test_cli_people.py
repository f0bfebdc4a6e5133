"""The verb audit: who did what, as a table, JSON or CSV."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from fathomlight import open_workspace
from fathomlight.cli import main


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    try:
        main(list(words))
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.fixture
def used(own_workspace: Path) -> Path:
    """A workspace in which two people did something."""
    for who, batch in (("one@lakes.example", 1), ("two@lakes.example", 2)):
        with open_workspace(own_workspace, actor=who) as ws:
            ws.withdraw(batch, "=wrong file")
    return own_workspace


def test_audit_tells_who_did_what(used: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "audit", "--workspace", str(used), "--limit", "2")
    assert code == 0
    assert out.index("two@lakes.example") < out.index("one@lakes.example")
    assert "withdrew a batch" in out
    assert "batch 2 (" in out
    assert "--limit shows more" in out


def test_audit_narrows_and_prints_json(used: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(
        capsys,
        "audit",
        "--workspace",
        str(used),
        "--action",
        "withdraw",
        "--who",
        "one@lakes.example",
        "--json",
    )
    rows = json.loads(out)
    assert (code, len(rows)) == (0, 1)
    assert (rows[0]["who"], rows[0]["role"], rows[0]["action"], rows[0]["why"]) == (
        "one@lakes.example", "manager", "withdraw", "=wrong file",
    )  # fmt: skip
    code, out, _ = run(capsys, "audit", "--workspace", str(used), "--to", "2000-01-01", "--json")
    assert json.loads(out) == []
    code, out, err = run(capsys, "audit", "--workspace", str(used), "--action", "fly")
    assert (code, out.strip()) == (0, "Nothing was written down here.")
    assert "fly" in err


def test_audit_writes_a_file_that_runs_nothing(
    used: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "audit.csv"
    code, out, _ = run(
        capsys, "audit", "--workspace", str(used), "--action", "withdraw", "--csv", str(target)
    )
    assert (code, out) == (0, "")
    rows = list(csv.DictReader(io.StringIO(target.read_text(encoding="utf-8-sig"))))
    assert [r["why"] for r in rows] == ["'=wrong file"] * 2


def test_a_wrong_period_is_refused(used: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "audit", "--workspace", str(used), "--from", "yesterday")[0] == 2
    code, _, err = run(
        capsys, "audit", "--workspace", str(used), "--from", "2025-02-01", "--to", "2025-01-01"
    )
    assert code == 2
    assert "ends before it begins" in err
