"""Not a test: loads batch after batch in a child process that is killed at a random moment, again and again.

    python killed_load.py STORE ROUNDS SEED

Prints one JSON line: how many batches were acknowledged, how many the store holds, and all that is wrong.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

import fathomlight.store.batch_part  # noqa: F401
from fathomlight.store import BatchInfo, open_store

ROWS = 30_000


def batch_table(number: int) -> pd.DataFrame:
    """Readings of batch ``number``: half of them new, half correcting those of the batch before."""
    time_ = pd.date_range("2000-01-01", periods=ROWS, freq="min", tz="UTC") + pd.Timedelta(
        number * ROWS // 2, "min"
    )
    table = pd.DataFrame({"station": "Heron Bay", "parameter": "turbidity_fnu", "time": time_.as_unit("us")})
    return table.assign(local_date=table["time"].dt.tz_localize(None).dt.normalize(), value=float(number))


def load_for_ever(path: str, acknowledged: Path, first: int) -> None:
    """Load batches and write down each one when it is acknowledged."""
    with open_store(path) as store, acknowledged.open("a") as out:
        number = first
        while True:
            result = store.load_readings(batch_table(number), BatchInfo(file=f"batch {number}"))
            out.write(f"{number} {result.batch}\n")
            out.flush()
            number += 1


def inspect(path: str, acknowledged: list[int]) -> dict[str, object]:
    """Return what the store holds, and what is wrong with it."""
    wrong: list[str] = []
    with open_store(path) as store:
        check = store.check()
        wrong += check.problems
        files = store.batches()["file"].tolist()[::-1]
        numbers = [int(name.removeprefix("batch ")) for name in files]
        if numbers != list(range(len(numbers))):
            wrong.append(f"batches are not one after the other: {numbers}")
        wrong += [f"batch {n} was acknowledged and is gone" for n in acknowledged if n not in numbers]
        values = store.readings(columns=["time", "value"])
        expected: dict[int, float] = {}
        for number in numbers:
            start = number * (ROWS // 2)
            expected |= dict.fromkeys(range(start, start + ROWS), float(number))
        minute = (
            (values["time"] - pd.Timestamp("2000-01-01", tz="UTC")) // pd.Timedelta(1, "min")
        ).to_numpy()
        if minute.tolist() != sorted(expected) or not np.array_equal(
            values["value"].to_numpy(), [expected[m] for m in sorted(expected)]
        ):
            wrong.append(f"the readings are not those of the {len(numbers)} batches")
        versions = check.n_readings + check.n_old
        if versions != len(numbers) * ROWS:
            wrong.append(f"{versions} versions instead of {len(numbers) * ROWS}")
    return {"held": len(numbers), "wrong": wrong}


def in_child(work: str, path: str, acknowledged: Path, out: Path) -> int:
    """Fork, and do the work in the child; return its process id."""
    pid = os.fork()
    if pid:
        return pid
    try:
        done = [int(line.split()[0]) for line in acknowledged.read_text().splitlines()]
        if work == "load":
            load_for_ever(path, acknowledged, json.loads(out.read_text())["held"])
        else:
            out.write_text(json.dumps(inspect(path, done)))
    finally:
        os._exit(0)


def main() -> None:
    """Kill, look, and say what was found."""
    path, rounds, dice = sys.argv[1], int(sys.argv[2]), random.Random(int(sys.argv[3]))
    acknowledged, out = Path(path + ".acknowledged"), Path(path + ".found")
    acknowledged.touch()
    out.write_text(json.dumps({"held": 0}))
    wrong: list[str] = []
    usual = 0.3  # how long one load takes on this machine [s]
    for number in range(rounds):
        size, begin = acknowledged.stat().st_size, time.monotonic()
        pid = in_child("load", path, acknowledged, out)
        while number % 2 == 0 and acknowledged.stat().st_size == size and time.monotonic() < begin + 60:
            time.sleep(0.002)
        if number % 2 == 0:
            usual = time.monotonic() - begin
        time.sleep(dice.uniform(0.0, usual))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        os.waitpid(in_child("inspect", path, acknowledged, out), 0)
        found = json.loads(out.read_text())
        wrong += found["wrong"]
    lines = acknowledged.read_text().splitlines()
    print(json.dumps({"rounds": rounds, "acknowledged": len(lines), "held": found["held"], "wrong": wrong}))


if __name__ == "__main__":
    main()
