"""The pages of a workspace of 100 stations and 1 million readings, beside the bars of the design.

    python tests/benchmarks/bench_pages.py
    python tests/benchmarks/bench_pages.py --keep FOLDER      # build once, measure again and again
    python tests/benchmarks/bench_pages.py --pages station    # only pages whose address has this in it

The workspace is the invented demo plus 100 made-up stations, one of them with a logger of ten years every 15
minutes. The dashboard runs as ``fathomlight serve`` in a process of its own, on the loopback. Sessions are real
websocket sessions that speak the protocol of the browser: they send an interaction (the reader switches between
metres and feet, so that another view is sent each time) and wait for the end of the run. The first page is timed
in a browser where there is one, and in a session where there is none.

Bars: first page 3 s after the start of the server; warm interactions p95 300 ms on every page; 30 readers at
once, each with an interaction every few seconds, p95 500 ms; at most 1 MB sent for a page; server under 600 MB.
A busy machine makes all of them worse: the load average stands beside the numbers, and the processor time of the
server for one warm interaction, which hardly depends on it. Nothing here is a test.
"""

from __future__ import annotations

import argparse
import asyncio
import csv
import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import connect

STATIONS = 100
LOGGER = "MADE-001"
TODAY = "2025-09-28"
THINK_S = 5.0
"""Time between two interactions of one reader, on average [s]."""

BARS = {"first": 3.0, "warm": 300.0, "crowd": 500.0, "sent": 1.0, "memory": 600.0}

CASES = [
    "waters?",
    "station?station=MADE-010&view=year",
    f"station?station={LOGGER}&view=year&parameter=turbidity_fnu",
    f"station?station={LOGGER}&view=readings&parameter=turbidity_fnu",
    f"station?station={LOGGER}&view=readings&parameter=turbidity_fnu&from=2024-05-01&to=2024-06-30",
    f"station?station={LOGGER}&view=seasons&parameter=turbidity_fnu",
    "station?station=MADE-010&view=readings",
    "station?station=MADE-010&view=seasons",
    "station?station=MADE-010&view=profile",
    "station?station=MADE-010&view=index",
    f"station?station={LOGGER}&view=compare&parameter=turbidity_fnu&with=MADE-002,MADE-003",
    "change?scope=all",
    "change?scope=one&station=MADE-010",
    "attention?",
    "add?way=visit",
    "add?way=file",
    "check?view=suspect",
    "check?view=refused",
    "check?view=batches",
    "fish?view=clarity",
    "fish?view=catch",
    "fish?view=habitat",
    "reports?",
    "methods?",
]


# -- the workspace ---------------------------------------------------------------------------------------------


def _configure(folder: Path) -> list[str]:
    """Add made-up waters and stations to the demo's."""
    names = [f"MADE-{i:03d}" for i in range(1, STATIONS + 1)]
    with (folder / "config" / "waters.toml").open("a") as out:
        for w in range(20):
            out.write(
                f'\n[[water]]\nid = "made-{w}"\nname = "Made-up water {w}"\nkind = "lake"\nlatitude = '
                f"{46 + w / 50}\nlongitude = {-99 - w / 50}\nmax_depth_m = 20.0\nkd_constant = 1.7\n"
                'description = "Made up for measuring."\n'
            )
    with (folder / "config" / "stations.csv").open("a", newline="") as out:
        rows = csv.writer(out)
        for i, name in enumerate(names):
            rows.writerow([
                name, f"Made-up station {i + 1}", f"made-{i % 20}", 46 + (i % 20) / 50 + i / 5000,
                -99 - (i % 20) / 50, "America/Chicago", 20.0, 14, "",
            ])  # fmt: skip
    return names


def _table(station: str, parameter: str, unit: str, times: Any, values: Any, depth: Any) -> pd.DataFrame:
    rng = np.random.default_rng(len(values))
    when = pd.DatetimeIndex(times)
    return pd.DataFrame({
        "station": station, "parameter": parameter, "depth_m": depth, "time": when,
        "local_date": when.tz_convert("America/Chicago").tz_localize(None).normalize(), "replicate": 1,
        "value": np.round(values, 2), "qualifier": "=", "original_value": np.round(values, 2).astype(str),
        "original_unit": unit, "flag": np.where(rng.random(len(values)) < 0.003, 3, 1), "method": "made up",
        "note": "",
    })  # fmt: skip


def _logger(station: str, n: int, rng: np.random.Generator) -> pd.DataFrame:
    """Make turbidity every 15 minutes, with two gaps."""
    times = pd.date_range(end=f"{TODAY}T12:00Z", periods=n + 6000, freq="15min")
    keep = np.ones(len(times), dtype=bool)
    keep[n // 3 : n // 3 + 3000] = keep[n // 2 : n // 2 + 3000] = False
    times = times[keep]
    values = np.exp(
        1.2 + 0.5 * np.sin(2 * np.pi * times.dayofyear.to_numpy() / 365) + rng.normal(0, 0.4, len(times))
    )
    return _table(station, "turbidity_fnu", "FNU", times, values, 1.0)


def _visits(station: str, rng: np.random.Generator, visits: int, years: int) -> Iterator[pd.DataFrame]:
    """Make disc depths, chlorophyll, and temperature profiles of the visits of many years."""
    last = pd.Timestamp(TODAY, tz="UTC")
    days = np.sort(rng.choice(365 * years, size=visits * years, replace=False))
    times = last - pd.Timedelta(days=365 * years) + pd.to_timedelta(days, unit="D") + pd.Timedelta(hours=16)
    season = np.sin(2 * np.pi * times.dayofyear.to_numpy() / 365)
    yield _table(
        station, "secchi", "m", times, np.exp(0.9 - 0.2 * season + rng.normal(0, 0.25, len(times))), 0.0
    )
    chlorophyll = np.exp(1.5 + 0.4 * season + rng.normal(0, 0.4, len(times)))
    yield _table(station, "chlorophyll", "ug/L", times, chlorophyll, 0.5)
    depths = np.arange(0.0, 20.0, 2.0)
    grid = np.repeat(times[-20 * visits :: 2], len(depths))
    below = np.tile(depths, len(grid) // len(depths))
    warm = np.clip(
        4 + 18 * np.exp(-below / 8) - 4 * np.cos(2 * np.pi * grid.dayofyear.to_numpy() / 365), 0.5, 30
    )
    yield _table(station, "temperature", "degC", grid, warm, below)


def build(folder: Path, readings: int) -> None:
    """Write the workspace, load it, run the rules."""
    from fathomlight import open_workspace
    from fathomlight.store import BatchInfo
    from fathomlight.workspace import init_workspace, load_demo

    init_workspace(folder, demo=True)
    names = _configure(folder)
    load_demo(folder)
    rng = np.random.default_rng(20250928)
    loggers = {LOGGER: int(readings * 0.35), names[1]: readings // 10, names[2]: readings // 10}

    def frames() -> Iterator[pd.DataFrame]:
        done = 0
        for name, n in loggers.items():
            made = _logger(name, n, rng)
            done += len(made)
            yield made
        left = readings - done
        for name in names:
            # 30 years of so many visits: disc depth, chlorophyll, and a profile of 10 depths at some of them
            for made in _visits(name, rng, visits=max(2, int(left / len(names) / 160)), years=30):
                yield made

    with open_workspace(folder, actor="benchmark") as ws:
        ws.store.load_readings(frames(), BatchInfo(file="made-up.csv", who="benchmark", source="api"))
        ws.evaluate_alerts()
        counts = ws.counts()
        print(f"built: {len(ws.stations)} stations, {int(counts['n'].sum()):,} readings")


# -- the server ------------------------------------------------------------------------------------------------


@dataclass
class Server:
    """A running dashboard."""

    process: subprocess.Popen[bytes]
    port: int
    started: float

    def memory(self) -> tuple[float, float]:
        """Return memory now and at its peak [MB]."""
        with Path(f"/proc/{self.process.pid}/status").open() as text:
            found = dict(line.split(":", 1) for line in text)
        return tuple(int(found[k].split()[0]) / 1024 for k in ("VmRSS", "VmHWM"))  # type: ignore[return-value]

    def work(self) -> float:
        """Return the time its processors have spent on it so far [ms]: it does not depend on what else runs."""
        text = Path(f"/proc/{self.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return 1000 * (int(text[11]) + int(text[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def serving(workspace: Path, home: Path) -> Iterator[Server]:
    """Start the dashboard; end it by its process id."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = int(s.getsockname()[1])
    home.mkdir(parents=True, exist_ok=True)
    # as installed: Python keeps the machine-independent code of modules on disk, unless this says not to
    settings = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {"HOME": str(home)}
    program = "from fathomlight.cli import main; main()"
    command = [sys.executable, "-c", program, "serve", "--workspace", str(workspace), "--port", str(port)]
    with (home / "server.log").open("w") as log:
        started = time.perf_counter()
        process = subprocess.Popen(command, cwd=home, env=settings, stdout=log, stderr=subprocess.STDOUT)
    try:
        yield Server(process, port, started)
    finally:
        process.terminate()
        try:
            process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(timeout=10)


def wait_for(server: Server) -> float:
    """Wait until the server answers; return the time since it was started [s]."""
    while time.perf_counter() - server.started < 60:
        if server.process.poll() is not None:
            raise SystemExit("the dashboard ended at once; see server.log")
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{server.port}/_stcore/health", timeout=2):
                return time.perf_counter() - server.started
        except OSError:
            time.sleep(0.02)
    raise SystemExit("the dashboard did not answer within a minute")


def first_page(server: Server) -> dict[str, float]:
    """Open the first page in a browser: time since the start of the server, and of a second visit [s]."""
    program = os.environ.get("FATHOMLIGHT_CHROMIUM") or shutil.which("chromium")
    if program is None:
        return {}
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return {}
    out = {}
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        server_up = wait_for(server)
        for name in ("first", "second"):
            tab = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
            begin = time.perf_counter()
            tab.goto(f"http://127.0.0.1:{server.port}/")
            tab.wait_for_selector("h1", timeout=90_000)
            title = time.perf_counter() - begin
            tab.wait_for_selector("[data-testid=stMain] .js-plotly-plot .main-svg", timeout=90_000)
            drawn = time.perf_counter() - begin
            out |= {f"{name} title": title, f"{name} drawn": drawn}
        browser.close()
    return {"server up": server_up, **out, "CPU of the server in all": server.work() / 1000}


# -- sessions --------------------------------------------------------------------------------------------------


@dataclass
class Session:
    """One reader: a websocket session as the browser holds it."""

    socket: Any
    page: str
    query: str
    known: set[str] = field(default_factory=set)
    last_run: str = ""

    async def interact(self, more: str = "") -> tuple[float, int, int]:
        """Run the page once; return time [ms], bytes received, and errors drawn on it."""
        message = BackMsg()
        state = message.rerun_script
        state.query_string = "&".join(p for p in (self.query, more) if p)
        state.page_name = self.page
        state.cached_message_hashes.extend(self.known)
        begin = time.perf_counter()
        await self.socket.send(message.SerializeToString())
        received = wrong = 0
        async with asyncio.timeout(90):
            while True:
                data = await self.socket.recv()
                received += len(data)
                answer = ForwardMsg.FromString(data)
                kind = answer.WhichOneof("type")
                if answer.metadata.cacheable:
                    self.known.add(answer.hash)
                if kind == "delta":
                    element = answer.delta.new_element
                    wrong += element.WhichOneof("type") == "exception"
                    wrong += element.HasField("alert") and "could not be drawn" in element.alert.body
                if kind == "script_finished":
                    return 1000 * (time.perf_counter() - begin), received, wrong


@dataclass
class Measured:
    """What one page took."""

    case: str
    cold: float
    warm: list[float]
    sent: int
    wrong: int
    work: float


async def _session(port: int, case: str) -> Session:
    page, query = case.split("?", 1)
    socket = await connect(
        f"ws://127.0.0.1:{port}/_stcore/stream", subprotocols=["streamlit"], max_size=None, compression=None
    )
    return Session(socket, page, query)


async def one_reader(server: Server, cases: list[str], runs: int) -> list[Measured]:
    """Visit every page alone: the first visit, then warm interactions."""
    out, port = [], server.port
    for case in cases:
        reader = await _session(port, case)
        cold, sent, wrong = await reader.interact()
        await reader.interact("units=us")
        before = server.work()
        warm = [await reader.interact("units=us" if i % 2 else "") for i in range(runs)]
        work = (server.work() - before) / runs
        await reader.socket.close()
        fresh = await _session(port, case)
        _, again, more = await fresh.interact()
        await fresh.socket.close()
        out.append(Measured(case, cold, [w[0] for w in warm], max(sent, again), wrong + more, work))
    return out


async def many_readers(
    port: int, cases: list[str], readers: int, seconds: float, think: float
) -> list[float]:
    """Let many readers use all pages at once, each waiting about `think` seconds between interactions."""
    end = time.perf_counter() + seconds

    async def reader(seed: int) -> list[float]:
        chance = random.Random(seed)
        session = await _session(port, cases[seed % len(cases)])
        times: list[float] = []
        await asyncio.sleep(chance.uniform(0, think))
        await session.interact()
        while time.perf_counter() < end:
            await asyncio.sleep(chance.uniform(0.4, 1.6) * think)
            page, query = chance.choice(cases).split("?", 1)
            session.page, session.query = page, query
            times.append((await session.interact(chance.choice(["", "units=us"])))[0])
        await session.socket.close()
        return times

    found = await asyncio.gather(*(reader(i) for i in range(readers)))
    return [t for times in found for t in times]


# -- the table -------------------------------------------------------------------------------------------------


def _load() -> str:
    return ", ".join(f"{x:.1f}" for x in os.getloadavg())


def _verdict(value: float, bar: float) -> str:
    return "met" if value <= bar else "MISSED"


def report_pages(pages: list[Measured]) -> None:
    """Print a line a page."""
    print(
        f"\n{'page':<88} {'first [ms]':>10} {'p50 [ms]':>9} {'p95 [ms]':>9} {'CPU [ms]':>9} {'sent [MB]':>10}"
    )
    for p in pages:
        p95 = float(np.percentile(p.warm, 95))
        mark = " <-- over 300 ms" if p95 > BARS["warm"] else ""
        mark += " <-- over 1 MB" if p.sent > 1e6 * BARS["sent"] else ""
        mark += f" <-- {p.wrong} errors on the page" if p.wrong else ""
        numbers = (
            f"{p.cold:>10.0f} {np.median(p.warm):>9.0f} {p95:>9.0f} {p.work:>9.0f} {p.sent / 1e6:>10.3f}"
        )
        print(f"{p.case:<88} {numbers}{mark}")


def line(what: str, value: float, bar: float | None, unit: str) -> None:
    """Print one measurement beside its bar, where it has one."""
    if bar is None:
        print(f"{what:<62} {value:>9.2f} {'':>9} {unit}")
    else:
        print(f"{what:<62} {value:>9.2f} {bar:>9.2f} {unit:<4} {_verdict(value, bar)}")


def measure(workspace: Path, home: Path, wanted: argparse.Namespace) -> None:
    """Measure everything and print it."""
    cases = [c for c in CASES if wanted.pages in c]
    print(f"load average before: {_load()} on {os.cpu_count()} cores")
    with serving(workspace, home / "first") as server:
        first = first_page(server)
    with serving(workspace, home) as server:
        if not first:
            up = wait_for(server)
            first = {
                "server up": up,
                "first title": asyncio.run(one_reader(server, ["?"], 1))[0].cold / 1000,
            }
        wait_for(server)
        pages = asyncio.run(one_reader(server, cases, wanted.runs))
        report_pages(pages)
        alone = server.memory()
        before = _load()
        crowd = asyncio.run(many_readers(server.port, cases, wanted.readers, wanted.seconds, wanted.think))
        peak = server.memory()
    print("\n" + ", ".join(f"{k} {v:.2f} s" for k, v in first.items()))
    print(f"memory after all pages once {alone[0]:.0f} MB, after the crowd {peak[0]:.0f} MB")
    print(f"{len(crowd)} interactions of {wanted.readers} readers, p50 {np.median(crowd):.0f} ms; "
          f"one every {wanted.think:g} s each; load average before {before}, after {_load()}")  # fmt: skip
    print(f"\n{'what':<62} {'measured':>9} {'bar':>9}")
    line(
        "start of the server to the title of the first page",
        first["server up"] + first["first title"],
        BARS["first"],
        "s",
    )
    if "first drawn" in first:
        line(
            "start of the server to the picture of the first page",
            first["server up"] + first["first drawn"],
            None,  # title and sentence come first; the browser then loads what draws (5 MB)
            "s",
        )
        line("a later visit, to the picture", first["second drawn"], BARS["first"], "s")
    line(
        "warm interaction p95, the slowest page",
        max(float(np.percentile(p.warm, 95)) for p in pages),
        BARS["warm"],
        "ms",
    )
    line("warm interaction p95, all pages together",
         float(np.percentile([w for p in pages for w in p.warm], 95)), BARS["warm"], "ms")  # fmt: skip
    line(f"{wanted.readers} readers at once, p95", float(np.percentile(crowd, 95)), BARS["crowd"], "ms")
    line("bytes sent, the largest page", max(p.sent for p in pages) / 1e6, BARS["sent"], "MB")
    line("memory of the server, peak", peak[1], BARS["memory"], "MB")


def main() -> None:
    """Build, measure, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--keep", type=Path, help="folder of the built workspace; made when it is not there")
    parser.add_argument("--pages", default="", help="only pages whose address has this in it")
    parser.add_argument("--runs", type=int, default=20, help="warm interactions a page")
    parser.add_argument("--readers", type=int, default=30)
    parser.add_argument("--seconds", type=float, default=40.0)
    parser.add_argument(
        "--think", type=float, default=THINK_S, help="seconds between a reader's interactions"
    )
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        workspace = wanted.keep or Path(made) / "workspace"
        if not (workspace / "config").exists():
            begin = time.perf_counter()
            build(workspace, wanted.readings)
            print(f"in {time.perf_counter() - begin:.0f} s")
        measure(workspace, Path(made) / "home", wanted)


if __name__ == "__main__":
    main()
