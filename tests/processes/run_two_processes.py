"""Two dashboard processes on one PostgreSQL behind nginx, all on the loopback.

    eval "$(sh tests/start_postgres.sh start)"
    python tests/processes/run_two_processes.py            # runs until Ctrl-C
    python tests/processes/run_two_processes.py --check    # starts, checks, stops; exit code 0 when all is well

The workspace is a new one with the invented demo waters and an empty database of its own, thrown away at the end.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
import uuid
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
NGINX = shutil.which("nginx") or ("/usr/sbin/nginx" if Path("/usr/sbin/nginx").is_file() else None)
NAMES = ("one", "two")


def missing() -> str:
    """Say what this machine lacks; empty when nothing."""
    if NGINX is None:
        return "nginx is not installed (Debian's package nginx)"
    if not os.environ.get("FATHOMLIGHT_TEST_POSTGRES"):
        return "FATHOMLIGHT_TEST_POSTGRES is not set (tests/start_postgres.sh start prints a URL)"
    return ""


def free_ports(n: int) -> list[int]:
    """Return free ports of the loopback."""
    sockets = [socket.socket() for _ in range(n)]
    try:
        for s in sockets:
            s.bind(("127.0.0.1", 0))
        return [int(s.getsockname()[1]) for s in sockets]
    finally:
        for s in sockets:
            s.close()


def get(url: str, timeout: float = 20, **headers: str) -> tuple[int, bytes, Any]:
    """Ask for a page; an answer that is not 200 is an answer too."""
    request = urllib.request.Request(url, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=timeout) as answer:
            return answer.status, answer.read(), answer.headers
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read(), error.headers


class TwoProcesses:
    """PostgreSQL database, workspace, two dashboards, nginx; a context manager."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port, *ports = free_ports(3)
        self.ports = dict(zip(NAMES, ports, strict=True))
        self.url = f"http://127.0.0.1:{self.port}"
        self.workspace = folder / "workspace"
        self.processes: dict[str, subprocess.Popen[bytes]] = {}
        self.proxy: subprocess.Popen[bytes] | None = None
        self._server = os.environ["FATHOMLIGHT_TEST_POSTGRES"]
        self._database = f"two_{uuid.uuid4().hex[:12]}"

    def __enter__(self) -> TwoProcesses:
        try:
            self._sql(f'CREATE DATABASE "{self._database}"')
            self._make_workspace()
            for name in NAMES:  # both at once, on an empty database
                self.start(name)
            for name in NAMES:
                self.wait(name)
            self._start_proxy()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        if self.proxy is not None:
            stop(self.proxy, signal.SIGQUIT)
        for process in self.processes.values():
            stop(process)
        self._sql(f'DROP DATABASE IF EXISTS "{self._database}" WITH (FORCE)')

    def _sql(self, statement: str) -> None:
        import psycopg

        plain = self._server.replace("postgresql+psycopg://", "postgresql://")
        with psycopg.connect(plain, autocommit=True) as connection:
            connection.execute(statement)  # type: ignore[arg-type]

    @property
    def database_url(self) -> str:
        """The database of this run."""
        return re.sub(r"/[^/]+$", f"/{self._database}", self._server)

    def _make_workspace(self) -> None:
        for name in ("config", "data"):
            shutil.copytree(ROOT / name, self.workspace / name)
        settings = self.workspace / "config" / "workspace.toml"
        text = re.sub(
            r'(?m)^url = "[^"]*"', f'url = "{self.database_url}"', settings.read_text(encoding="utf-8")
        )
        assert self.database_url in text
        settings.write_text(text, encoding="utf-8")

    def log(self, name: str) -> Path:
        """The log of one process: JSON lines."""
        return self.folder / f"dashboard-{name}.log"

    def start(self, name: str) -> None:
        """Start one dashboard, in the way the command line does."""
        command = [
            sys.executable, "-c", "from fathomlight.cli import main; main()", "serve",
            "--workspace", str(self.workspace),
            "--port", str(self.ports[name]), "--log-json",
        ]  # fmt: skip
        env = {**os.environ, "HOME": str(self.folder)}
        with self.log(name).open("w") as log, self.log(name).with_suffix(".out").open("w") as out:
            self.processes[name] = subprocess.Popen(command, cwd=self.folder, env=env, stdout=out, stderr=log)

    def health(self, name: str) -> tuple[int, dict[str, Any]]:
        """Ask one process how it is."""
        status, body, _ = get(f"http://127.0.0.1:{self.ports[name]}/health")
        return status, json.loads(body)

    def wait(self, name: str, seconds: float = 60) -> None:
        """Wait until one process is well."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.processes[name].poll() is not None:
                break
            try:
                if self.health(name)[0] == 200:
                    return
            except (OSError, http.client.HTTPException):
                pass
            time.sleep(0.2)
        raise RuntimeError(f"dashboard {name} is not well:\n{self.log(name).read_text()}")

    def _start_proxy(self) -> None:
        text = (HERE / "nginx.conf.in").read_text(encoding="utf-8")
        values = {
            "DIR": self.folder,
            "PORT": self.port,
            **{f"PORT_{n.upper()}": p for n, p in self.ports.items()},
        }
        for key, value in values.items():
            text = text.replace(f"@{key}@", str(value))
        conf = self.folder / "nginx.conf"
        conf.write_text(text, encoding="utf-8")
        errors = str(self.folder / "nginx-error.log")
        with (self.folder / "nginx.out").open("w") as out:
            self.proxy = subprocess.Popen(
                [str(NGINX), "-e", errors, "-p", str(self.folder), "-c", str(conf)], stdout=out, stderr=out
            )
        end = time.monotonic() + 10
        while time.monotonic() < end:
            try:
                if get(f"{self.url}/_stcore/health")[0] == 200:
                    return
            except (OSError, http.client.HTTPException):
                time.sleep(0.1)
        raise RuntimeError(f"nginx did not answer:\n{Path(errors).read_text()}")

    def lines(self, name: str) -> list[dict[str, Any]]:
        """The log of one process, read."""
        text = self.log(name).read_text(encoding="utf-8")
        return [json.loads(line) for line in text.splitlines() if line.startswith("{")]


def stop(
    process: subprocess.Popen[bytes], sign: signal.Signals = signal.SIGTERM, patience: float = 30
) -> float:
    """Ask one process to end; return the seconds it took."""
    begin = time.monotonic()
    if process.poll() is None:
        process.send_signal(sign)
        try:
            process.wait(timeout=patience)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(timeout=10)
    return time.monotonic() - begin


def check(two: TwoProcesses) -> list[str]:
    """Check what needs no browser; return what was seen, or raise."""
    from fathomlight import open_workspace

    seen = []
    status, _, headers = get(f"{two.url}/")
    cookie = str(headers["Set-Cookie"])
    assert status == 200
    assert re.match(r"fathomlight_process=(one|two);", cookie), cookie
    assert get(f"{two.url}/", Cookie=cookie.split(";")[0])[2].get_all("Set-Cookie") is None
    seen.append(f"a new reader is given a process and keeps it: {cookie}")
    assert get(f"{two.url}/health")[0] == 404
    before = {n: two.health(n)[1]["data_version"] for n in NAMES}
    with open_workspace(two.workspace) as ws:
        report = ws.load(two.workspace / "data" / "hold_back" / "good_week.csv")
    after = {n: two.health(n)[1]["data_version"] for n in NAMES}
    assert report.n_new > 0
    assert all(after[n] > before[n] for n in NAMES), (before, after)
    seen.append(f"{report.n_new} readings loaded beside them are known to both: {before} -> {after}")
    took = stop(two.processes["one"])
    assert took < 10, took
    assert get(f"{two.url}/_stcore/health", Cookie="fathomlight_process=one")[0] == 200
    seen.append(f"process one ended {took:.1f} s after being asked; its readers are served by the other")
    assert two.lines("one")[-1]["message"], "the log is JSON lines"
    return seen


def main() -> int:
    """Start everything; check it, or run until interrupted."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--check", action="store_true", help="start, check, stop")
    wanted = parser.parse_args()
    if why := missing():
        print(why, file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory(prefix="fathomlight-two-") as folder, TwoProcesses(Path(folder)) as two:
        if wanted.check:
            for line in check(two):
                print(line)
            return 0
        print(f"Open {two.url} ; the processes are {two.ports} ; end with Ctrl-C.", flush=True)
        try:
            signal.pause()
        except KeyboardInterrupt:
            return 0
    return 0


if __name__ == "__main__":
    sys.exit(main())
