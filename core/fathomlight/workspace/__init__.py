"""The workspace: the one facade that command line, pages, reports and notebooks call.

>>> from fathomlight import open_workspace          # doctest: +SKIP
>>> workspace = open_workspace(".")                 # doctest: +SKIP
>>> workspace.trend("KEL-1").sentence               # doctest: +SKIP
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from fathomlight.config import load_config
from fathomlight.store import open_store
from fathomlight.workspace.adding import CheckReport
from fathomlight.workspace.change import TrendAnswer
from fathomlight.workspace.meaning import HabitatAnswer, TrophicAnswer
from fathomlight.workspace.out import Out, StatusReport
from fathomlight.workspace.rights import EVERYTHING, ROLES, Rights, Role
from fathomlight.workspace.settings import Settings
from fathomlight.workspace.setup import demo_source, init_workspace, load_demo
from fathomlight.workspace.trail import Trail

__all__ = [
    "EVERYTHING",
    "ROLES",
    "CheckReport",
    "HabitatAnswer",
    "Rights",
    "Role",
    "StatusReport",
    "TrendAnswer",
    "TrophicAnswer",
    "Workspace",
    "demo_source",
    "init_workspace",
    "load_demo",
    "open_workspace",
]


class Workspace(Out, Trail, Settings):
    """One workspace, open. Made by :func:`open_workspace`; may be used from several threads."""


def open_workspace(
    path: str | Path = ".",
    *,
    actor: str | None = None,
    as_of: dt.date | str | None = None,
    read_only: bool = False,
    rights: Rights = EVERYTHING,
) -> Workspace:
    """Open a workspace: check its configuration, open its store.

    Parameters
    ----------
    path : str or pathlib.Path
        The folder that holds ``config/``.
    actor : str, optional
        Who is at work; kept with what is loaded, flagged, seen or withdrawn.
    as_of : datetime.date or str, optional
        The day taken as today; that of ``workspace.toml``, else today.
    read_only : bool
        Open the store without any right to write.
    rights : Rights
        What the person at work may do; everything when left out.

    Returns
    -------
    Workspace
        Also a context manager.

    Raises
    ------
    fathomlight.errors.ConfigError
        A file of ``config/`` is wrong; names file and key.
    fathomlight.errors.StoreError
        The store cannot be opened.

    Examples
    --------
    >>> with open_workspace("my-lakes") as ws:           # doctest: +SKIP
    ...     table = ws.readings("KEL-1", "secchi")
    """
    config = load_config(path)
    day = dt.date.fromisoformat(as_of) if isinstance(as_of, str) else as_of
    if "://" not in config.store_url:
        Path(config.store_url).parent.mkdir(parents=True, exist_ok=True)
    store = open_store(config.store_url, create=not read_only, read_only=read_only)
    return Workspace(config, store, actor=actor, as_of=day, rights=rights)
