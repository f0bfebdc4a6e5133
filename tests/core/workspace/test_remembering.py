"""What a workspace remembers, and what makes room first."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fathomlight import open_workspace
from fathomlight.model import MEASURED
from fathomlight.workspace import Workspace, base, looking


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
                assert all_at_once.remembered(("series", station, "secchi", MEASURED))
                pd.testing.assert_frame_equal(
                    all_at_once.series(station, "secchi", MEASURED), one.series(station)[list(MEASURED)]
                )


def test_of_many_who_ask_at_once_one_makes_it(demo_workspace: Path) -> None:
    made, waiting = [], threading.Barrier(6)

    def make() -> int:
        made.append(1)
        time.sleep(0.2)  # long enough for the others to come
        return len(made)

    def ask(ws: Workspace) -> int:
        waiting.wait(timeout=30)
        return ws.remember(("slow",), make)

    with open_workspace(demo_workspace, read_only=True) as ws, ThreadPoolExecutor(6) as pool:
        assert list(pool.map(ask, [ws] * 6)) == [1] * 6
    assert len(made) == 1


def test_who_fails_does_not_hold_up_the_next(demo_workspace: Path) -> None:
    with open_workspace(demo_workspace, read_only=True) as ws:
        with pytest.raises(ZeroDivisionError):
            ws.remember(("failing",), lambda: 1 // 0)
        assert ws.remember(("failing",), lambda: "made") == "made"


def test_series_that_are_too_much_together_are_not_put_together(
    demo_workspace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_workspace(demo_workspace, read_only=True) as ws:
        expected = ws.trends("secchi")
    monkeypatch.setattr(looking, "_AT_ONCE", 100)
    monkeypatch.setattr(looking, "cells_by_station", lambda *_, **__: pytest.fail("put together"))
    with open_workspace(demo_workspace, read_only=True) as ws:
        pd.testing.assert_frame_equal(ws.trends("secchi"), expected)
