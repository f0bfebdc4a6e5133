"""Make a workspace: a new one from a template, or the invented demo waters."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from fathomlight.configfile import load_toml
from fathomlight.errors import ArgumentError, NotFoundError

_SETTINGS = ("parameters.toml", "seasons.toml", "species.toml", "notices.toml")

_WORKSPACE = """# What this workspace is called and how values are shown. Keys: see DEVELOPERS.md.
[workspace]
name = "{name}"
units = "metric"          # or "us": feet and degrees Fahrenheit on the pages; the store stays metric

[store]
url = "store/fathomlight.sqlite"     # or a postgresql+psycopg:// URL
"""

_WATERS = """# One table a water. Take the example out when your own are in.
[[water]]
id = "example"
name = "Example lake"
kind = "lake"             # lake, bay, river or reservoir
latitude = 46.0
longitude = -91.0
max_depth_m = 12.0
kd_constant = 1.7         # k in Kd = k / disc depth
description = "An example; replace it."
"""

_STATIONS = (
    "id,name,water,latitude,longitude,timezone,bottom_depth_m,schedule_days,aliases\n"
    "example-1,Example station,example,46.0,-91.0,America/Chicago,11.5,14,Ex 1;EX-1\n"
)

_ALERTS = """# Rules that ask for attention. Take the example as a start and set limits from your own past:
# fathomlight alerts --try murky-for-the-season --since 2020-01-01
[[rule]]
id = "murky-for-the-season"
kind = "percentile"
severity = "look"
parameter = "secchi"
side = "murkier"
"""


class _LoadRow(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    file: str
    recipe: str
    hold_back: bool = False
    note: str = ""


class LoadList(BaseModel):
    """The order in which the files of a data folder are loaded (``data/load.toml``)."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    load: list[_LoadRow] = Field(min_length=1)


def demo_source() -> Path:
    """Return the folder that holds the demo's ``config/`` and ``data/``.

    Returns
    -------
    pathlib.Path
        The source tree when run from one, else the copy inside the installed package.

    Raises
    ------
    fathomlight.errors.NotFoundError
        Neither is there.
    """
    package = Path(__file__).resolve().parents[1]
    for candidate in (package.parents[1], package / "demo"):
        if (candidate / "config" / "workspace.toml").is_file() and (
            candidate / "data" / "load.toml"
        ).is_file():
            return candidate
    raise NotFoundError("the demo waters are not part of this installation", where=str(package))


def init_workspace(folder: str | Path, *, name: str | None = None, demo: bool = False) -> Path:
    """Write a new workspace.

    Parameters
    ----------
    folder : str or pathlib.Path
        Made when missing; it must not hold a workspace yet.
    name : str, optional
        What the workspace is called; the folder's name when left out.
    demo : bool
        True: a copy of the invented demo waters. False: settings with one example water to replace.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    fathomlight.errors.ArgumentError
        There is a workspace already; nothing is overwritten.
    """
    folder = Path(folder).resolve()
    if (folder / "config").exists():
        raise ArgumentError(
            "folder", "there is a workspace here already; nothing was changed", got=str(folder),
            fix="Choose an empty folder.",
        )  # fmt: skip
    source = demo_source()
    if demo:
        for part in ("config", "data"):
            shutil.copytree(
                source / part, folder / part, ignore=shutil.ignore_patterns("*.py", "maker", "__pycache__")
            )
        return folder
    config = folder / "config"
    (config / "recipes").mkdir(parents=True)
    (folder / "data").mkdir(exist_ok=True)
    for file in _SETTINGS:
        text = (source / "config" / file).read_text("utf-8")
        (config / file).write_text(_without_local_ranges(text), "utf-8")
    for recipe in sorted((source / "config" / "recipes").glob("*.toml")):
        if not recipe.name.startswith("demo-"):
            shutil.copy2(recipe, config / "recipes" / recipe.name)
    (config / "workspace.toml").write_text(
        _WORKSPACE.format(name=(name or folder.name).replace('"', "'")), "utf-8"
    )
    (config / "waters.toml").write_text(_WATERS, "utf-8")
    (config / "stations.csv").write_text(_STATIONS, "utf-8")
    (config / "alerts.toml").write_text(_ALERTS, "utf-8")
    return folder


def _without_local_ranges(text: str) -> str:
    """Take out usual ranges that hold for the demo waters only: what is usual must come from one's own past."""
    text = re.sub(r"\n\[\w+\.quality\.climatology\]\n.*?\n(?=\n|\Z)", "", text, flags=re.DOTALL)
    return re.sub(
        r"(\[secchi\.quality\].*?suspect = )\[[^]]*\]", r"\1[0.03, 25.0]", text, count=1, flags=re.DOTALL
    )


def load_demo(folder: str | Path, progress: Callable[[int, int], None] | None = None) -> int:
    """Load every file that ``data/load.toml`` names, in its order; files loaded before change nothing.

    Parameters
    ----------
    folder : str or pathlib.Path
        The workspace.
    progress : callable, optional
        Called with (files done, files in all).

    Returns
    -------
    int
        Readings, survey rows and fish that were new.
    """
    from fathomlight.ingest import ReadLimits
    from fathomlight.workspace import open_workspace

    folder = Path(folder)
    rows = [r for r in load_toml(folder / "data" / "load.toml", LoadList).load if not r.hold_back]
    new = 0
    with open_workspace(folder, actor="demo") as workspace:
        workspace.limits = ReadLimits(isolate="never")  # files of our own
        for done, row in enumerate(rows, start=1):
            report = workspace.load(folder / "data" / row.file, row.recipe, why=row.note)
            new += report.n_new
            if progress is not None:
                progress(done, len(rows))
        workspace.run_quality()
        workspace.evaluate_alerts()
    return new
