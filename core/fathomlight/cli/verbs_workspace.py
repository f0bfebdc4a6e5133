"""Verbs about the workspace itself: demo, init, status, quality, serve."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from fathomlight.cli.app import (
    HERE,
    AsOfOption,
    JsonOption,
    WorkspaceOption,
    app,
    note,
    opened,
    print_json,
    print_table,
    progress_bar,
    say,
)
from fathomlight.errors import NotFoundError

LOOPBACK = {"127.0.0.1", "::1", "localhost"}

PortOption = Annotated[int, typer.Option("--port", min=1, max=65535, help="Port of the pages.")]
AddressOption = Annotated[
    str, typer.Option("--address", help="Address to listen on; 127.0.0.1 is reached from this machine only.")
]


@app.command()
def demo(
    workspace: Annotated[
        Path | None,
        typer.Option(
            "--workspace", metavar="DIR", help="Where to put a copy; the source tree itself when left out."
        ),
    ] = None,
    serve: Annotated[bool, typer.Option("--serve", help="Open the pages afterwards.")] = False,
    port: PortOption = 8501,
    json: JsonOption = False,
) -> None:
    """Load the invented demo waters, and with --serve show them at http://127.0.0.1:8501."""
    from fathomlight.workspace import demo_source, init_workspace, load_demo

    folder = workspace or demo_source()
    if not (folder / "config" / "workspace.toml").is_file():
        init_workspace(folder, demo=True)
    with progress_bar("loading the demo waters", quiet=json) as bar:
        new = load_demo(folder, progress=bar.step)
    with opened(folder) as ws:
        answer = ws.status()
    if json:
        print_json({"workspace": str(folder), "new_readings": new, "status": answer})
    else:
        say(f"The demo waters are invented. {answer.sentence}")
        if not serve:
            say(f"See them: fathomlight serve --workspace {folder}")
    if serve:
        _serve(folder, port, "127.0.0.1")


@app.command()
def init(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="An empty or new folder.")],
    name: Annotated[str | None, typer.Option("--name", help="What the workspace is called.")] = None,
    with_demo: Annotated[bool, typer.Option("--demo", help="A copy of the invented demo waters.")] = False,
) -> None:
    """Write a new workspace into DIR: settings to fill in, ready recipes, nothing loaded."""
    from fathomlight.workspace import init_workspace

    path = init_workspace(folder, name=name, demo=with_demo)
    say(f"Wrote a workspace into {path}")
    if not with_demo:
        say("Next: name your waters and stations in config/waters.toml and config/stations.csv.")


@app.command()
def status(workspace: WorkspaceOption = HERE, as_of: AsOfOption = None, json: JsonOption = False) -> None:
    """Say what the workspace holds: readings, batches, refused rows, flags, open episodes."""
    with opened(workspace, as_of=as_of) as ws:
        answer = ws.status()
    if json:
        print_json(answer)
        return
    say(answer.sentence)
    print_table(answer.parameters, "Readings in force")
    print_table(answer.batches.tail(20), "Batches (last 20)")
    for text in answer.notes:
        say(f"note: {text}")


@app.command()
def quality(workspace: WorkspaceOption = HERE, json: JsonOption = False) -> None:
    """Run the quality tests again on everything; flags that people set stay as they are."""
    with opened(workspace) as ws:
        tested = ws.run_quality()
        flags = ws.status().flags
    print_json({"tested": tested, "flags": flags}) if json else say(
        f"Tested {tested} readings. Flags in force: {flags}"
    )


@app.command()
def serve(
    workspace: WorkspaceOption = HERE,
    port: PortOption = 8501,
    address: AddressOption = "127.0.0.1",
    log_json: Annotated[
        bool, typer.Option("--log-json", help="Write the log as JSON lines (as FATHOMLIGHT_LOG=json).")
    ] = False,
) -> None:
    """Show the pages of a workspace in a browser."""
    # The server reads the configuration and opens the store itself, and its pages say what is wrong: not twice, for a
    # quick start.
    if address in LOOPBACK and (workspace / "config" / "workspace.toml").is_file():
        open_to_all = False
    else:
        from fathomlight.config import load_config

        open_to_all = not load_config(workspace).login.enabled and address not in LOOPBACK
    if open_to_all:
        note(f"Without [login] in workspace.toml everybody who reaches {address} may do everything.")
    if log_json:
        os.environ["FATHOMLIGHT_LOG"] = "json"
    _serve(workspace, port, address)


def _serve(folder: Path, port: int, address: str) -> None:
    from importlib import import_module

    try:
        pages = import_module("fathomlight_dashboard")  # by name: this layer lies below the pages
    except ImportError:
        raise NotFoundError(
            "the pages are not part of this installation", expected="the package fathomlight_dashboard"
        ) from None
    os.environ["FATHOMLIGHT_WORKSPACE"] = str(folder.resolve())
    if os.environ.get("FATHOMLIGHT_LOG") != "json":  # then every line is JSON
        note(f"Open http://{address}:{port} in a browser; end with Ctrl-C.")
    command = [
        sys.executable, "-m", "streamlit", "run", str(pages.SERVER), "--server.port", str(port),
        "--server.address", address, *[f for f in pages.STREAMLIT_FLAGS if not f.startswith("--server.address")],
    ]  # fmt: skip
    if secrets := os.environ.get(pages.SECRETS_VARIABLE):
        command.append(f"--secrets.files={Path(secrets).resolve()}")
    os.execv(sys.executable, command)
