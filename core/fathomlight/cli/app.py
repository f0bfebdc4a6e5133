"""The application object and the options that many verbs share."""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fathomlight import __version__

if TYPE_CHECKING:
    import pandas as pd

    from fathomlight.workspace import Workspace

app = typer.Typer(
    name="fathomlight",
    help="Is the water clear or murky for the time of year, what state is it in, and is it changing?",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)

WorkspaceOption = Annotated[
    Path, typer.Option("--workspace", metavar="DIR", help="Folder that holds config/ and data/.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
AsOfOption = Annotated[
    str | None, typer.Option("--as-of", metavar="YYYY-MM-DD", help="The day taken as today.")
]
HERE = Path()


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fathomlight {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


def opened(folder: Path, *, as_of: str | None = None, read_only: bool = False) -> Workspace:
    """Open the workspace a verb was pointed at."""
    from fathomlight.ingest import ReadLimits
    from fathomlight.workspace import open_workspace

    day = parse_day("--as-of", as_of)
    ws = open_workspace(folder, as_of=day, actor="command line", read_only=read_only)
    ws.limits = ReadLimits(max_bytes=8 << 30, seconds=7200)  # one's own files, not an upload
    return ws


def parse_day(option: str, text: str | None) -> dt.date | None:
    """Read a day, or say how a day is written."""
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is not a day; write it as 2025-07-24", param_hint=option
        ) from None


def print_json(answer: Any) -> None:
    """Print an answer as JSON and nothing else."""
    from fathomlight.model import plain

    sys.stdout.write(json.dumps(plain(answer), indent=2, ensure_ascii=False, allow_nan=False) + "\n")


def say(text: str = "") -> None:
    """Print a line for people."""
    sys.stdout.write(text + "\n")


def note(text: str) -> None:
    """Print a line beside the answer, to standard error."""
    sys.stderr.write(text + "\n")


def print_table(table: pd.DataFrame, title: str = "") -> None:
    """Print a table for people; long texts are folded."""
    from rich.console import Console
    from rich.table import Table

    shown = Table(title=title or None, title_justify="left", header_style="bold", box=None, pad_edge=False)
    for column in table.columns:
        numeric = table[column].dtype.kind in "if"
        shown.add_column(str(column), justify="right" if numeric else "left", overflow="fold")
    for row in table.itertuples(index=False):
        shown.add_row(*[_cell(v) for v in row])
    console = Console(file=sys.stdout)
    if not console.is_terminal:
        console.width = 200
    console.print(shown)


def _cell(value: Any) -> str:
    import pandas as pd

    if value is None or (not isinstance(value, (list, tuple)) and pd.isna(value)):
        return "-"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, (pd.Timestamp, dt.date)):
        return f"{value.day} {value:%b %Y}"
    return str(value)


def progress_bar(what: str, *, quiet: bool) -> Any:
    """Return a progress bar on standard error; ``bar.step(done, total)`` moves it."""
    from fathomlight.cli.progress import Bar

    return Bar(what, quiet=quiet)
