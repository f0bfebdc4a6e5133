"""Speed of the trend engine against general libraries, in one run on one machine.

    python tests/benchmarks/bench_trends.py            # 10,000 stations, series of a million
    python tests/benchmarks/bench_trends.py --quick    # smaller

Prints a table of ratios with the bar beside each; exits with 1 when a bar is missed. Peers: pymannkendall
(correlated seasonal test, one station at a time) and scipy (theilslopes). Times are processor time of one
thread, the best of several, so that other work on a shared machine disturbs them little; the ratio with all
threads is by the clock.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # processor time of one thread, or it is counted for all

import numpy as np

YEARS, SEASONS = 40, 12


@dataclass
class Row:
    """One line of the table."""

    what: str
    measured: str
    bar: str
    met: bool | None


def best(
    function: Callable[[], object], times: int = 3, clock: Callable[[], float] = time.process_time
) -> float:
    """Return the shortest of several runs, [s]."""
    spans = []
    for _ in range(times):
        start = clock()
        function()
        spans.append(clock() - start)
    return min(spans)


def memory_bandwidth() -> float:
    """Return what a large copy moves, [GB/s], read and write counted."""
    source = np.ones(40_000_000)
    target = np.empty_like(source)
    return 2 * source.nbytes / best(lambda: np.copyto(target, source), 5) / 1e9


def network_rows(stations: int) -> list[Row]:
    """Time the network kernel and its peer; compare their numbers."""
    import pymannkendall

    from fathomlight.trends import network_trends

    rng = np.random.default_rng(1)
    cube = rng.standard_normal((stations, YEARS, SEASONS)) + 0.3 * rng.standard_normal((stations, YEARS, 1))
    network_trends(cube[:2])  # compiled or read from disk before the clock starts
    alone = best(lambda: network_trends(cube, workers=1))
    cores = os.cpu_count() or 1
    spread = best(lambda: network_trends(cube), 3, time.perf_counter)
    found = network_trends(cube)
    few = 12

    def peer() -> list[object]:
        return [pymannkendall.correlated_seasonal_test(cube[k].ravel(), period=SEASONS) for k in range(few)]

    theirs = best(peer) / few
    theirs_by_clock = best(peer, 3, time.perf_counter) / few
    agree = all(
        r.s == float(found.s[k])
        and np.isclose(r.var_s, float(found.variance[k]))
        and np.isclose(r.slope, float(found.slope[k]))
        for k, r in enumerate(peer())
    )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    one = alone / stations
    pairs = YEARS * (YEARS - 1) // 2 * SEASONS
    touched = cube.nbytes / alone / 1e9
    inner = pairs * 8 * 4 / one / 1e9
    copy = memory_bandwidth()
    return [
        Row("network: peer, one station", f"{theirs * 1e3:.1f} ms", "", None),
        Row("network: one station, one thread", f"{one * 1e6:.0f} us", "", None),
        Row("network: ratio, one thread", f"{theirs / one:.0f} x", ">= 200 x", theirs / one >= 200),
        Row(f"network: ratio, {cores} threads", f"{theirs_by_clock * stations / spread:.0f} x", "", None),
        Row("network: same S, variance, slope as peer", str(agree), "True", agree),
        Row(f"network: peak memory, {stations:,} stations", f"{peak:.2f} GB", "< 1.5 GB", peak < 1.5),
        Row("network: cube read from memory", f"{touched:.3f} GB/s of {copy:.1f} GB/s", "", None),
        Row("network: slopes moved inside the cache (4 passes)", f"{inner:.1f} GB/s", "", None),
        Row("network: left to the memory limit", f"{copy / touched:.0f} x", "", None),
    ]


def slope_rows(largest: int) -> list[Row]:
    """Time the exact Theil-Sen slope with limits and its peer."""
    from scipy.stats import theilslopes

    from fathomlight.trends import theil_sen

    rng = np.random.default_rng(2)
    rows = []
    x, t = rng.standard_normal(5000) + np.arange(5000) / 5000, np.arange(5000.0)
    ours = theil_sen(x, t, ranks="nearest")
    mine = best(lambda: theil_sen(x, t), 7)
    theirs = best(lambda: theilslopes(x, t), 2)
    peer = theilslopes(x, t)
    agree = np.allclose(
        [ours.slope, ours.slope_low, ours.slope_high],
        [peer.slope, peer.low_slope, peer.high_slope],
        rtol=1e-9,
    )
    rows.append(Row("slope: scipy, n 5,000, memory already touched", f"{theirs:.2f} s", "", None))
    code = (
        "import time, numpy as np; from scipy.stats import theilslopes; x = np.random.default_rng(2).random(5000); "
        "theilslopes(x[:9]); start = time.process_time(); theilslopes(x); print(time.process_time() - start)"
    )
    fresh = float(
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    )
    rows.append(Row("slope: scipy, first call of a process", f"{fresh:.2f} s", "", None))
    rows.append(Row("slope: ours with test and limits", f"{mine * 1e3:.1f} ms", "", None))
    rows.append(
        Row(
            "slope: ratio, memory already touched", f"{theirs / mine:.0f} x", ">= 100 x", theirs / mine >= 100
        )
    )
    rows.append(Row("slope: ratio to a first call", f"{fresh / mine:.0f} x", ">= 100 x", fresh / mine >= 100))
    rows.append(Row("slope: same slope and limits as scipy", str(agree), "True", agree))
    spans = {}
    for n in (largest // 10, largest):
        x, t = rng.standard_normal(n) + np.arange(n) / n, np.arange(float(n))
        spans[n] = best(lambda x=x, t=t: theil_sen(x, t), 5)  # type: ignore[misc]
        rows.append(Row(f"slope: n {n:,}, test, slope, limits", f"{spans[n]:.2f} s", "", None))
    growth = spans[largest] / spans[largest // 10]
    rows.append(
        Row(f"slope: time({largest:.0e}) / time({largest // 10:.0e})", f"{growth:.1f}", "<= 14", growth <= 14)
    )
    return rows


def memory_row(n: int) -> Row:
    """Measure the memory of one long series in a fresh process."""
    code = (
        "import numpy as np\n"
        "def peak():\n"
        "    return int(open('/proc/self/status').read().split('VmHWM:')[1].split()[0])\n"
        "from fathomlight.trends import theil_sen\n"
        "theil_sen(np.random.default_rng(1).standard_normal(2000), np.arange(2000.0))\n"
        "before = peak()\n"
        f"theil_sen(np.random.default_rng(1).standard_normal({n}), np.arange({n}.0))\n"
        "print(peak() - before)\n"
    )
    grown = int(
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    )
    each = grown * 1024 / n
    return Row(f"slope: memory, n {n:,}", f"{grown / 1e6:.2f} GB, {each:.0f} bytes a value", "O(n)", None)


def children_time() -> float:
    """Return the processor time of all processes started and ended so far, [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def first_call_rows() -> list[Row]:
    """Time import and the first call of each path, without and with machine code on disk."""
    paths = {
        "import": "import fathomlight.trends",
        "first test of 40 values": "from fathomlight.trends import mann_kendall; mann_kendall(range(40))",
        "first seasonal test": (
            "import numpy as np; from fathomlight.trends import seasonal_kendall; "
            "seasonal_kendall(np.arange(60.), np.arange(60) // 4, np.arange(60) % 4)"
        ),
        "first network": (
            "import numpy as np; from fathomlight.trends import network_trends; network_trends(np.ones((1, 12, 4)))"
        ),
        "first series of 5,000": (
            "import numpy as np; from fathomlight.trends import theil_sen; "
            "theil_sen(np.arange(5000.), np.arange(5000.))"
        ),
    }
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for name, code in paths.items():
            spans = []
            for _ in range(2):
                environment = {**os.environ, "NUMBA_CACHE_DIR": folder, "OPENBLAS_NUM_THREADS": "1"}
                start = children_time()
                subprocess.run([sys.executable, "-c", code], check=True, env=environment)
                spans.append(children_time() - start)
            extra = spans[0] - spans[1]
            bar = ("< 1.5 s", spans[1] < 1.5) if name == "import" else ("compiling < 3 s", extra < 3)
            rows.append(Row(f"start: {name}", f"{spans[0]:.2f} s cold, {spans[1]:.2f} s cached", *bar))
    return rows


def main() -> int:
    """Print the table; return 1 when a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    rows = network_rows(1_000 if quick else 10_000)
    rows += slope_rows(100_000 if quick else 1_000_000)
    rows.append(memory_row(100_000 if quick else 1_000_000))
    rows += first_call_rows()
    load = os.getloadavg()[0]
    print(f"numpy {np.__version__}, {os.cpu_count()} cores, load {load:.1f} while measuring\n")
    print(f"{'what':52} {'measured':32} {'bar':16} met")
    for row in rows:
        print(
            f"{row.what:52} {row.measured:32} {row.bar:16} {'' if row.met is None else 'yes' if row.met else 'NO'}"
        )
    return int(any(row.met is not None and not row.met for row in rows))


if __name__ == "__main__":
    raise SystemExit(main())
