"""The whole way of a million rows into a workspace, beside pandas reading and writing the same file in the same run.

    python tests/benchmarks/bench_load.py
    python tests/benchmarks/bench_load.py --rows 100000

``workspace`` is what ``fathomlight load`` does: parse the file in a process of its own with limits, check every row,
tell rows apart by identity, store them with history and batch; then the quality tests, shown apart, since pandas does
nothing like them. ``pandas`` is ``read_csv`` and ``to_sql`` into SQLite: no check, no identity, no history, and only
the columns of the file. Two files: a logger's (station, time, value), and a long one with ten columns. Each
measurement runs in a process of its own, by the clock, the best of several. The bar: no slower than pandas.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

RECIPES = {
    "narrow": """
name = "narrow"
kind = "readings"
layout = "wide"
[station]
column = "station"
[time]
column = "time"
formats = ["%Y-%m-%d %H:%M"]
zone = "UTC"
[[values]]
column = "turbidity"
parameter = "turbidity_fnu"
unit = "FNU"
""",
    "broad": """
name = "broad"
kind = "readings"
layout = "long"
not_imported = ["water", "instrument", "run"]
[station]
column = "station"
[time]
column = "time"
formats = ["%Y-%m-%dT%H:%M:%SZ"]
zone = "UTC"
[depth]
column = "depth"
unit = "m"
[[values]]
column = "value"
parameter_column = "what"
unit_column = "unit"
qualifier_column = "qualifier"
[values.parameters]
turbidity = "turbidity_fnu"
""",
}


def write_files(folder: Path, rows: int) -> None:
    """Write two made-up files of the same readings: 15-minute turbidity at the demo's river station."""
    rng = np.random.default_rng(20250724)
    times = pd.date_range(end="2025-09-01", periods=rows, freq="15min")
    values = np.round(rng.lognormal(1.5, 0.6, rows), 2)
    pd.DataFrame({"station": "RIV-1", "time": times.strftime("%Y-%m-%d %H:%M"), "turbidity": values}).to_csv(
        folder / "narrow.csv", index=False
    )
    pd.DataFrame(
        {
            "station": "RIV-1", "water": "Grumblewash", "time": times.strftime("%Y-%m-%dT%H:%M:%SZ"), "depth": 1.0,
            "what": "turbidity", "value": values, "unit": "FNU", "qualifier": "=", "instrument": "logger 17", "run": 3,
        }
    ).to_csv(folder / "broad.csv", index=False)  # fmt: skip


def make_workspace(folder: Path) -> Path:
    """Write an empty workspace with the demo's stations and the two recipes."""
    from fathomlight.workspace import init_workspace

    made = folder / "workspace"
    init_workspace(made, demo=True)
    for name, text in RECIPES.items():
        (made / "config" / "recipes" / f"{name}.toml").write_text(text)
    return made


def pandas_load(folder: Path, name: str) -> dict[str, Any]:
    """Load by ``read_csv`` and ``to_sql``."""
    begin = time.perf_counter()
    table = pd.read_csv(folder / f"{name}.csv", parse_dates=["time"])
    with sqlite3.connect(folder / "pandas.sqlite") as connection:
        table.to_sql("readings", connection, index=False, if_exists="replace")
    return {"seconds": time.perf_counter() - begin}


def workspace_load(folder: Path, name: str) -> dict[str, Any]:
    """Load as ``fathomlight load`` does; the quality tests are timed apart."""
    from fathomlight import open_workspace
    from fathomlight.workspace import Workspace

    own = folder / "own"
    shutil.rmtree(own, ignore_errors=True)
    shutil.copytree(folder / "workspace", own)
    tested = {"seconds": 0.0}
    tests = Workspace.run_quality

    def timed(self: Workspace, stations: list[str] | None = None) -> int:
        begin = time.perf_counter()
        count = tests(self, stations)
        tested["seconds"] += time.perf_counter() - begin
        return count

    Workspace.run_quality = timed  # type: ignore[method-assign]
    with open_workspace(own, actor="benchmark") as ws:
        begin = time.perf_counter()
        report = ws.load(folder / f"{name}.csv", name)
        seconds = time.perf_counter() - begin
    return {"seconds": seconds - tested["seconds"], "tests": tested["seconds"], "said": report.sentence}


def _apart(queue: Any, function: Callable[..., dict[str, Any]], folder: Path, name: str) -> None:
    found = function(folder, name)
    peak = max(resource.getrusage(w).ru_maxrss for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    queue.put({**found, "peak": peak / 1024})


def measure(
    function: Callable[..., dict[str, Any]], folder: Path, name: str, times: int = 3
) -> dict[str, Any]:
    """Run it several times, each in a fresh process; return the quickest."""
    runs = []
    context = multiprocessing.get_context("spawn")
    for _ in range(times):
        queue = context.Queue()
        process = context.Process(target=_apart, args=(queue, function, folder, name))
        process.start()
        process.join()  # a result is far smaller than what a queue holds back
        if process.exitcode:
            raise SystemExit(f"{function.__name__} of {name} failed")
        runs.append(queue.get())
    return min(runs, key=lambda run: run["seconds"])


def main() -> int:
    """Print the table; return 1 when the bar is missed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=1_000_000)
    rows = parser.parse_args().rows
    missed = False
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write_files(folder, rows)
        make_workspace(folder)
        print(f"{rows:,} rows, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}\n")
        print(f"{'file':8} {'pandas':>10} {'workspace':>10} {'ratio':>7} {'tests':>8} {'peak':>9}  said")
        for name in RECIPES:
            theirs, ours = measure(pandas_load, folder, name), measure(workspace_load, folder, name)
            ratio = ours["seconds"] / theirs["seconds"]
            missed |= ratio > 1
            print(
                f"{name:8} {theirs['seconds']:>8.2f} s {ours['seconds']:>8.2f} s {ratio:>6.2f}x "
                f"{ours['tests']:>6.2f} s {ours['peak']:>6.0f} MB  {ours['said']} {'MISSED' if ratio > 1 else 'met'}"
            )
    return int(missed)


if __name__ == "__main__":
    raise SystemExit(main())
