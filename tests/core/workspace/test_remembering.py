"""What a workspace remembers, and what makes room first."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fathomlight import open_workspace
from fathomlight.workspace import base


def table(megabytes: float) -> pd.DataFrame:
    return pd.DataFrame({"value": np.zeros(int(megabytes * 125_000))})


def test_large_tables_make_room_and_small_answers_stay(
    demo_workspace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(base, "_REMEMBERED_BYTES", 10_000_000)
    with open_workspace(demo_workspace, read_only=True) as ws:
        ws.remember(("small",), lambda: "an answer")
        for name in ("first", "second"):
            ws.remember((name,), lambda: table(4))
        ws.remember(("first",), lambda: pytest.fail("it was remembered"))
        ws.remember(("third",), lambda: table(4))  # 12 MB: the one not asked for longest has to go
        assert [ws.remembered((n,)) for n in ("small", "first", "second", "third")] == [
            True,
            True,
            False,
            True,
        ]
        ws.remember(("huge",), lambda: table(20))  # alone too large: it is kept, alone
        assert [ws.remembered((n,)) for n in ("small", "first", "third", "huge")] == [
            True,
            False,
            False,
            True,
        ]


def test_no_more_answers_than_the_limit(demo_workspace: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(base, "_REMEMBERED", 3)
    with open_workspace(demo_workspace, read_only=True) as ws:
        for i in range(5):
            ws.remember((i,), lambda i=i: i)
        assert [ws.remembered((i,)) for i in range(5)] == [False, False, True, True, True]


def test_the_series_read_together_are_those_read_alone(demo_workspace: Path) -> None:
    with (
        open_workspace(demo_workspace, read_only=True) as one,
        open_workspace(demo_workspace, read_only=True) as all_at_once,
    ):
        all_at_once.standings("secchi")
        for station in one.stations:
            if "secchi" in one.parameters_at(station):
                assert all_at_once.remembered(("series", station, "secchi"))
                pd.testing.assert_frame_equal(all_at_once.series(station), one.series(station))
