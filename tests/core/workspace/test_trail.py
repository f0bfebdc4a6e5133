"""The audit trail in words: who may read it, what it says, how it is narrowed."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from fathomlight.errors import ArgumentError, NotAllowedError
from fathomlight.workspace import Rights, open_workspace
from fathomlight.workspace.trail import TRAIL_COLUMNS


@pytest.fixture
def ws(root: Path, tmp_path: Path) -> Any:
    import shutil

    for name in ("config", "data"):
        shutil.copytree(root / name, tmp_path / name)
    with open_workspace(tmp_path) as opened:
        yield opened


@pytest.mark.parametrize("role", ["reader", "volunteer", "reviewer", "manager"])
def test_reviewers_and_managers_read_it(ws: Any, role: Any) -> None:
    ws.audit("load", {"batch": 1, "file": "week.csv"})
    view = ws.acting_as("p@lakes.example", Rights(role))
    for question in (view.audit_log, view.audit_counts, view.trail):
        if role in ("reader", "volunteer"):
            with pytest.raises(NotAllowedError, match="audit trail"):
                question()
        else:
            assert len(question()) == 1


def test_one_person_without_login_reads_it(ws: Any) -> None:
    ws.audit("settings", {"file": "alerts.toml", "why": "limit from our own past"})
    row = ws.trail().iloc[0]
    assert (row["who"], row["role"], row["deed"], row["what"], row["why"]) == (
        "", "manager", "changed the settings", "alerts.toml", "limit from our own past",
    )  # fmt: skip


def test_nothing_gives_an_empty_table(ws: Any) -> None:
    assert tuple(ws.trail().columns) == TRAIL_COLUMNS
    assert ws.trail().empty
    assert ws.audit_counts() == {}


@pytest.mark.parametrize(
    ("action", "detail", "what"),
    [
        ("load", {"batch": 7, "file": "week.csv"}, "batch 7 (week.csv)"),
        ("withdraw", {"batch": 7, "why": "wrong lake"}, "batch 7"),
        ("set aside", {"batch": 3, "line": 12, "column": "Date"}, "batch 3, line 12, column Date"),
        ("refused", {"doing": "adding readings"}, "adding readings"),
        ("recipe", {"kept": "our-crew"}, "our-crew"),
        ("settings", {"file": "alerts.toml", "how": "an earlier version"}, "alerts.toml (an earlier version)"),
        ("login", {}, ""),
        ("something new", "a word of text", "a word of text"),
        ("seen", {"episode": "murky|value|VEL-1|secchi||20250911T150000.000000Z"},
         "murky at Vellumere deep hole, opened 11 Sep 2025"),
        ("seen", {"episode": "a key of another make"}, "a key of another make"),
        ("flag", {"station": "VEL-1", "parameter": "secchi", "depth_m": "0.0", "time": "2025-07-24 18:05:00+00:00",
                  "replicate": "1", "flag": 4},
         "Vellumere deep hole disc depth (secchi), 24 Jul 2025 18:05 UTC: fail"),
        ("flag", {"station": "GONE-1", "parameter": "temperature", "depth_m": "3.5", "time": "?", "flag": 1},
         "GONE-1 water temperature at 3.5 m: pass"),
    ],
)  # fmt: skip
def test_what_it_was_done_to_is_said_in_words(ws: Any, action: str, detail: Any, what: str) -> None:
    ws.audit(action, detail)
    assert ws.trail()["what"].tolist() == [what]


def test_a_period_takes_whole_days_and_counts_agree(ws: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    moments = [
        "2025-07-23T23:59:59.999999",
        "2025-07-24T00:00:00",
        "2025-07-24T23:59:59",
        "2025-07-25T00:00:00",
    ]
    for n, moment in enumerate(moments):
        us = int(dt.datetime.fromisoformat(moment + "+00:00").timestamp() * 1_000_000)
        monkeypatch.setattr(type(ws.store), "_now", staticmethod(lambda us=us: us))
        ws.audit("flag" if n % 2 else "load", {"n": n})
    day = dt.date(2025, 7, 24)
    assert [d["n"] for d in ws.audit_log(start=day, end=day)["detail"]] == [2, 1]
    assert [d["n"] for d in ws.audit_log(start="2025-07-24", end="2025-07-24")["detail"]] == [2, 1]
    assert [d["n"] for d in ws.audit_log(action=["flag"])["detail"]] == [3, 1]
    assert ws.audit_counts(start=day, end=day) == {"flag": 1, "load": 1}
    assert ws.audit_counts() == {"flag": 2, "load": 2}
    assert [d["n"] for d in ws.audit_log(end="2025-07-24T00:00:00")["detail"]] == [1, 0]
    with pytest.raises(ArgumentError, match="ends before it begins"):
        ws.audit_log(start=day, end="2025-07-23")
    with pytest.raises(ArgumentError, match="not a day"):
        ws.audit_log(start="soon")
