"""How fast the store loads and reads, beside pandas doing the plain thing in the same run.

    python tests/benchmarks/bench_store.py             # 1 million rows
    python tests/benchmarks/bench_store.py --rows 10000000 --short
    python tests/benchmarks/bench_store.py --url postgresql+psycopg://...

Each measurement runs in a process of its own, so that its peak memory is its own. ``pandas`` is
``read_csv`` in pieces and ``to_sql`` into SQLite (no identity, no check, no history). ``store`` reads the
same file by the same ``read_csv`` and loads it: checked, told apart by identity, with history. The bar: no
slower.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import resource
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

CHUNK = 200_000
STATION_ROWS = 50_000


def write_file(path: Path, rows: int) -> None:
    """Write a made-up logger file: 15-minute turbidity at stations of 50,000 readings each."""
    rng = np.random.default_rng(20250724)
    with path.open("w") as out:
        out.write(
            "station,parameter,depth_m,time,replicate,value,qualifier,original_value,original_unit,note\n"
        )
        for station, start in enumerate(range(0, rows, STATION_ROWS)):
            n = min(STATION_ROWS, rows - start)
            times = pd.date_range("2024-05-01", periods=n, freq="15min", tz="UTC")
            values = np.round(rng.lognormal(1.5, 0.6, n), 2)
            out.writelines(
                f"ST{station:04d},turbidity_fnu,1.0,{t},1,{v},=,{v},FNU,\n"
                for t, v in zip(times.strftime("%Y-%m-%dT%H:%M:%SZ"), values.tolist(), strict=True)
            )


def pieces(path: Path) -> Iterator[pd.DataFrame]:
    """Read the file piece by piece."""
    text = {"original_value": "str", "note": "str"}
    for piece in pd.read_csv(path, chunksize=CHUNK, dtype=text, keep_default_na=False):
        piece["time"] = pd.to_datetime(piece["time"], utc=True, format="ISO8601")
        yield piece


def readings(path: Path) -> Iterator[pd.DataFrame]:
    """Add what a table of readings needs."""
    for piece in pieces(path):
        yield piece.assign(
            local_date=piece["time"].dt.tz_localize(None).dt.normalize(), flag=2, method="logger"
        )


def pandas_load(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Load by ``read_csv`` and ``to_sql``."""
    connection = sqlite3.connect(folder / "pandas.sqlite")
    for piece in pieces(path):
        piece.to_sql("readings", connection, if_exists="append", index=False)
    connection.close()
    return {}


def store_load(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Load into a new store."""
    from fathomlight.store import BatchInfo, open_store

    with open_store(url) as store:
        result = store.load_readings(
            readings(path), BatchInfo(file=path.name, who="bench", unchanged_file="load")
        )
    return {"new": result.n_new, "known": result.n_known}


def parse_only(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Read the file and make readings of it, nothing more."""
    return {"rows": sum(len(piece) for piece in readings(path))}


def store_correct(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Load the file again with every value changed: a correction of each."""
    from fathomlight.store import BatchInfo, open_store

    changed = (piece.assign(value=piece["value"] + 1.0) for piece in readings(path))
    with open_store(url) as store:
        result = store.load_readings(changed, BatchInfo(file="corrected", who="bench"))
    return {"corrected": result.n_corrected}


def store_withdraw(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Withdraw the corrections: the first values come back."""
    from fathomlight.store import open_store

    with open_store(url) as store:
        result = store.withdraw(int(store.batches()["batch"].max()), "bench", "")
    return {"other_value": result.n_other_value}


def store_flags(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Set an automatic flag on every reading, station by station."""
    from fathomlight.store import open_store

    n = 0
    with open_store(url) as store:
        for station in store.counts()["station"]:
            table = store.readings(
                station=station, columns=["station", "parameter", "depth_m", "time", "replicate", "value"]
            )
            flags = table.assign(flag=np.where(table["value"] > 20, 3, 1), test="gross range", reason="")
            n += store.set_flags(flags.drop(columns="value"), "bench", automatic=True).n_set
    return {"set": n}


def read_station(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Read one station of 50,000; the median of 20."""
    from fathomlight.store import open_store

    with open_store(url) as store:
        store.readings(station="ST0001")
        spent = []
        for _ in range(20):
            begin = time.perf_counter()
            n = len(store.readings(station="ST0001"))
            spent.append(time.perf_counter() - begin)
    return {"readings": n, "seconds": float(np.median(spent))}


def read_all(path: Path, folder: Path, url: str) -> dict[str, Any]:
    """Read everything, all columns."""
    from fathomlight.store import open_store

    with open_store(url) as store:
        return {"readings": len(store.readings())}


def _in_process(pipe: Any, work: Callable[..., dict[str, Any]], arguments: tuple[Any, ...]) -> None:
    import fathomlight.store  # noqa: F401

    begin = time.perf_counter()
    found = work(*arguments)
    spent = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    pipe.send({"seconds": spent, "peak_mb": peak} | found)


def measure(work: Callable[..., dict[str, Any]], *arguments: Any) -> dict[str, Any]:
    """Run one measurement in a process of its own."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=_in_process, args=(there, work, arguments))
    process.start()
    there.close()
    found: dict[str, Any] = here.recv()
    process.join()
    return found


BASE = "pandas: read_csv + to_sql"
LONG = (store_correct, store_withdraw, store_flags)


def print_row(label: str, row: dict[str, Any], base: float) -> None:
    """Print one line of the table."""
    rest = ", ".join(f"{k} {v:,}" for k, v in row.items() if k not in ("seconds", "peak_mb"))
    ratio = row["seconds"] / base
    print(f"{label:32}{row['seconds']:10.3f}{ratio:11.2f}{row['peak_mb']:9.0f}  {rest}", flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument(
        "--url", default="", help="store to use instead of a new SQLite file (it must be empty)"
    )
    parser.add_argument("--short", action="store_true", help="leave out corrections, withdrawal and flags")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="fathomlight-bench") as name:
        folder = Path(name)
        path, url = folder / "logger.csv", options.url or str(folder / "store.sqlite")
        write_file(path, options.rows)
        works = {
            "read the file only": parse_only,
            BASE: pandas_load,
            "store: first load": store_load,
            "store: the same rows again": store_load,
            "store: every value corrected": store_correct,
            "store: corrections withdrawn": store_withdraw,
            "store: flag every reading": store_flags,
            "store: read all": read_all,
            "store: read one station": read_station,
        }
        if options.short:
            works = {label: work for label, work in works.items() if work not in LONG}
        if not options.json:
            print(f"{options.rows:,} rows, {path.stat().st_size / 1e6:.0f} MB, {options.url or 'SQLite'}")
            print(f"{'':32}{'seconds':>10}{'of pandas':>11}{'peak MB':>9}")
        found: dict[str, dict[str, Any]] = {}
        for label, work in works.items():
            found[label] = measure(work, path, folder, url)
            if not options.json:
                print_row(label, found[label], found.get(BASE, {}).get("seconds", float("nan")))
    if options.json:
        print(json.dumps({"rows": options.rows, "results": found}))


if __name__ == "__main__":
    main()
