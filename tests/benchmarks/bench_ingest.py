"""How fast files are read and checked, beside ``pandas.read_csv`` (which checks nothing) in the same run.

    python tests/benchmarks/bench_ingest.py                  # 1 million rows
    python tests/benchmarks/bench_ingest.py --rows 10000000

Each measurement runs in a process of its own, so that its peak memory is its own. ``pandas`` reads the whole file
with dates parsed; ``ingest`` reads it in pieces by a recipe: stations looked up, units converted, local dates and
UTC instants from the station's zone, limits checked, repeats settled; ``isolated`` does the same in a reading
process with limits on memory and time, and receives the tables from it. The bars are constant memory (ten times the
rows, the same peak), and, together with the store, no slower than pandas.read_csv and to_sql (see bench_store.py).
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import multiprocessing
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.ingest import ReadLimits, Recipe, iter_chunks
from fathomlight.model import Parameter, Station

STATION_ROWS = 50_000
HEADER = "Station,Sampled,Parameter,Depth (m),Value,Unit\n"


def write_file(path: Path, rows: int) -> int:
    """Write a made-up long file, 15-minute values at stations of 50,000 rows; a row in 10,000 is wrong."""
    rng = np.random.default_rng(20250724)
    wrong = 0
    with path.open("w", encoding="utf-8") as out:
        out.write(HEADER)
        for station, start in enumerate(range(0, rows, STATION_ROWS)):
            n = min(STATION_ROWS, rows - start)
            times = pd.date_range("2020-05-01", periods=n, freq="15min").strftime("%Y-%m-%dT%H:%M:%SZ")
            values = np.round(rng.normal(15, 4, n).clip(0.1, 35), 2).astype(str)
            values[::10_000] = "murky"
            wrong += len(values[::10_000])
            out.writelines(
                f"ST{station:04d},{t},temperature,{i % 5},{v},degC\n"
                for i, (t, v) in enumerate(zip(times, values, strict=True))
            )
    return wrong


def settings(rows: int) -> dict[str, Any]:
    """What the reader is told."""
    stations = [
        Station(f"ST{i:04d}", f"Invented {i}", "lake", 46.0, -99.0, "America/Chicago", 30.0)
        for i in range(rows // STATION_ROWS + 1)
    ]
    recipe = Recipe.model_validate(
        {
            "name": "bench",
            "layout": "long",
            "station": {"column": "Station"},
            "time": {"column": "Sampled"},
            "depth": {"column": "Depth (m)"},
            "values": [{"column": "Value", "parameter_column": "Parameter", "unit_column": "Unit"}],
        }
    )
    parameter = Parameter("temperature", "Temperature", "degC", positive=False, profile=True)
    return {
        "recipe": recipe,
        "parameters": {"temperature": parameter},
        "stations": stations,
        "now": dt.datetime(2027, 1, 1),
    }


def by_pandas(path: Path, rows: int) -> tuple[int, int]:
    """Read with pandas: types and dates only."""
    frame = pd.read_csv(path)
    frame["Sampled"] = pd.to_datetime(frame["Sampled"], utc=True, format="ISO8601")
    return len(frame), 0


def by_ingest(path: Path, rows: int, isolate: str = "never") -> tuple[int, int]:
    """Read and check in pieces."""
    good = refused = 0
    limits = ReadLimits(isolate=isolate, max_bytes=4 << 30)  # type: ignore[arg-type]
    for piece in iter_chunks(path, limits=limits, **settings(rows)):
        good += len(piece.frame)
        refused += len(piece.refused)
    return good, refused


def isolated(path: Path, rows: int) -> tuple[int, int]:
    """Read and check in a reading process."""
    return by_ingest(path, rows, "always")


def measure(work: Callable[[Path, int], tuple[int, int]], path: Path, rows: int, out: Any) -> None:
    """Run in a process of its own and report seconds and peak memory."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begin, begin_cpu = time.perf_counter(), time.process_time()
    good, refused = work(path, rows)
    out.put(
        {
            "seconds": round(time.perf_counter() - begin, 2),
            "cpu_seconds": round(
                time.process_time() - begin_cpu
                + sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2]), 2
            ),
            "peak_mb": round(max(
                resource.getrusage(resource.RUSAGE_SELF).ru_maxrss,
                resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss,
            ) / 1024),
            "start_mb": round(before / 1024),
            "good": good,
            "refused": refused,
        }
    )  # fmt: skip


def run(rows: int) -> list[dict[str, Any]]:
    """Measure each way once, on one file."""
    context = multiprocessing.get_context("spawn")
    results = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "long.csv")
        wrong = write_file(path, rows)
        for work in (by_pandas, by_ingest, isolated):
            out = context.Queue()
            process = context.Process(target=measure, args=(work, path, rows, out))
            process.start()
            answer = out.get()
            process.join()
            if work is not by_pandas and (answer["good"], answer["refused"]) != (rows - wrong, wrong):
                raise SystemExit(f"{work.__name__} read {answer}, expected {wrong} refused of {rows}")
            results.append(
                {"way": work.__name__, "rows": rows, "file_mb": round(path.stat().st_size / 2**20), **answer}
            )
    return results


def main() -> None:
    """Print one line a way."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=1_000_000)
    for result in run(parser.parse_args().rows):
        print(json.dumps(result))


if __name__ == "__main__":
    main()
