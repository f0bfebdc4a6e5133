"""Not a test: one of several writers. ``python load_many.py STORE NAME BATCHES GO-FILE``."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pandas as pd

from fathomlight.store import BatchInfo, open_store


def main() -> None:
    """Wait for the go-file, then load batch after batch."""
    path, name, batches, go = sys.argv[1], sys.argv[2], int(sys.argv[3]), Path(sys.argv[4])
    with open_store(path) as store:
        Path(f"{go}.{name}").touch()
        while not go.exists():
            time.sleep(0.005)
        for number in range(batches):
            moment = pd.date_range("2025-01-01", periods=500, freq="h", tz="UTC").as_unit("us")
            table = pd.DataFrame({"station": f"{name} {number}", "parameter": "temperature", "time": moment})
            table = table.assign(local_date=moment.tz_localize(None).normalize(), value=1.0)
            store.load_readings(table, BatchInfo(file=f"{name} {number}", who=name))


if __name__ == "__main__":
    main()
