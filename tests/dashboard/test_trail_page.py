"""Who did what: the page says what the store keeps, narrows by what stands in the address, and is not for everybody."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from fathomlight.workspace import Rights
from fathomlight_dashboard.page import discover

Open = Callable[..., AppTest]
Said = Callable[[AppTest], str]


def flagged(ws: Any, why: str = "mud on the disc") -> None:
    row = ws.series("VEL-1").iloc[0]
    ws.acting_as("r@lakes.example", Rights("reviewer")).set_flag(
        {k: row[k] for k in ("station", "parameter", "depth_m", "time", "replicate")}, 3, why
    )


def test_the_page_says_who_did_what(own: Any, open_page: Open, said: Said) -> None:
    flagged(own)
    at = open_page("trail")
    table = at.dataframe[0].value
    assert f"{len(own.audit_log())} entries" in said(at)
    first = table.iloc[0]
    assert (first["Who"], first["Role"], first["What was done"], first["Why"]) == (
        "r@lakes.example", "reviewer", "set a flag", "mud on the disc",
    )  # fmt: skip
    assert first["To what"].startswith("Vellumere deep hole disc depth")
    assert first["To what"].endswith(": suspect")
    loads = table[table["What was done"] == "loaded a batch"]
    assert "batch 1 (crew_2006_2013.csv)" in set(loads["To what"])


def test_the_address_narrows_it(own: Any, open_page: Open, said: Said) -> None:
    flagged(own)
    at = open_page("trail", deed="flag")
    assert at.dataframe[0].value["What was done"].unique().tolist() == ["set a flag"]
    assert "1 entry “set a flag”" in said(at)
    today = dt.datetime.now(dt.UTC).date()
    inside = open_page("trail", **{"from": str(today - dt.timedelta(days=1)), "to": str(today)})
    assert len(inside.dataframe[0].value) == len(own.audit_log())
    before = open_page("trail", to="2000-01-01")
    assert "Nothing was written down in this period." in said(before)
    assert not before.dataframe
    swapped = open_page("trail", **{"from": "2025-02-01", "to": "2025-01-01"})
    assert "swap the two days" in said(swapped)


def test_a_choice_stands_in_the_address(own: Any, open_page: Open) -> None:
    flagged(own)
    at = open_page("trail")
    at.selectbox[0].set_value("flag").run()
    assert at.query_params["deed"] == "flag" or at.query_params["deed"] == ["flag"]
    assert set(at.dataframe[0].value["What was done"]) == {"set a flag"}


def test_the_file_holds_all_of_it_and_no_formula(own: Any) -> None:
    from fathomlight.cells import escape_frame
    from fathomlight_dashboard.views import trail

    flagged(own, why="=1+1")
    table = escape_frame(trail._file(own.trail()))
    rows = list(csv.DictReader(io.StringIO(table.to_csv(index=False))))
    assert len(rows) == len(own.audit_log())
    assert rows[0]["Why"] == "'=1+1"
    assert dt.datetime.fromisoformat(rows[0]["When (UTC)"]).tzinfo is not None


def test_a_workspace_without_deeds_says_how_it_fills(bare: Path, open_page: Open, said: Said) -> None:
    assert "This page fills by itself." in said(open_page("trail"))


@pytest.mark.parametrize(
    ("role", "seen"), [("reader", False), ("volunteer", False), ("reviewer", True), ("manager", True)]
)
def test_reviewers_and_managers_have_it_in_their_menu(role: Any, seen: bool) -> None:
    assert ("trail" in {p.path for p in discover() if p.needs(role)}) is seen
