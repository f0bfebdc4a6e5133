"""Files people give the dashboard: written where only this program reads them, checked, then loaded."""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fathomlight.ingest import Recipe

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

KINDS = ["csv", "txt", "tsv", "xlsx", "nc", "html"]
"""Endings the file chooser offers."""


def safe_name(name: str) -> str:
    """Return a file name without folders and without signs a file system stumbles on.

    Examples
    --------
    >>> safe_name("../../etc/passwd"), safe_name("week 31.csv"), safe_name("")
    ('passwd', 'week 31.csv', 'upload')
    """
    base = name.replace("\\", "/").rsplit("/", 1)[-1]
    return re.sub(r"[^\w .()+-]", "_", base).strip(" .")[:120] or "upload"


def fingerprint(content: bytes) -> str:
    """Return what tells one content from another."""
    return hashlib.sha256(content).hexdigest()


@contextmanager
def on_disk(name: str, content: bytes) -> Iterator[Path]:
    """Write an upload into a folder of its own, and take the folder away afterwards."""
    with tempfile.TemporaryDirectory(prefix="fathomlight-") as folder:
        path = Path(folder) / safe_name(name)
        path.write_bytes(content)
        yield path


def check(ws: Workspace, name: str, content: bytes, recipe: str | Recipe | None) -> Any:
    """Say what loading a file would do; nothing is stored."""
    with on_disk(name, content) as path:
        return ws.check(path, recipe)


def load(ws: Workspace, name: str, content: bytes, recipe: str | Recipe | None, why: str) -> Any:
    """Load a file as one batch."""
    with on_disk(name, content) as path:
        return ws.load(path, recipe, why=why, name=safe_name(name))
