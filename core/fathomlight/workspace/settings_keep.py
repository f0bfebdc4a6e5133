"""Put a settings file in place whole, and keep what stood there before."""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import os
import re
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fathomlight.errors import FathomlightError, NotFoundError, StoreFullError, StoreReadOnlyError

__all__ = ["HISTORY", "history_of", "keep", "locked", "put", "version_path", "version_time"]

HISTORY = "config-history"
"""Folder of the workspace with earlier versions of its settings files, each named by the instant it was replaced."""

_VERSION = re.compile(r"\d{4}-\d{2}-\d{2}T\d{6}\.\d{6}Z")
_FORM = "%Y-%m-%dT%H%M%S.%fZ"
_SAVING = threading.Lock()


@contextmanager
def locked(root: Path) -> Iterator[None]:
    """Let one program at a time change the settings of a workspace."""
    folder = root / HISTORY
    with _SAVING, _told_apart(folder):
        folder.mkdir(exist_ok=True)
        with (folder / ".lock").open("a") as file:
            with contextlib.suppress(
                ImportError
            ):  # elsewhere only the programs of one process wait for each other
                import fcntl

                fcntl.flock(file, fcntl.LOCK_EX)
            yield


@contextmanager
def _told_apart(place: Path) -> Iterator[None]:
    """Say what a refusal of the file system means."""
    try:
        yield
    except FathomlightError:
        raise
    except PermissionError as error:
        raise StoreReadOnlyError(
            "the settings cannot be written here; nothing was changed", where=place.name, got=error.strerror,
            fix="Whoever looks after the server gives its account the right to write to config/ and config-history/.",
        ) from None  # fmt: skip
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise StoreFullError("the disk is full; nothing was changed", where=place.name) from None
        if error.errno == errno.EROFS:
            raise StoreReadOnlyError(
                "the settings are on a disk that cannot be written to", where=place.name
            ) from None
        raise


def keep(root: Path, name: str, now: dt.datetime) -> str:
    """Keep the version of a file that is about to be replaced; return what it is called, empty without a file."""
    path = root / "config" / name
    if not path.is_file():
        return ""
    version = now.astimezone(dt.UTC).strftime(_FORM)
    target = root / HISTORY / name / version
    target.parent.mkdir(parents=True, exist_ok=True)
    _write(target, path.read_bytes(), 0o600)
    return version


def put(path: Path, content: bytes, beside: Path) -> None:
    """Write a file so that it appears whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    content : bytes
        What it shall hold.
    beside : pathlib.Path
        Folder for the half-written file, which nobody must take for a setting.
    """
    mode = path.stat().st_mode & 0o777 if path.is_file() else 0o644
    path.parent.mkdir(parents=True, exist_ok=True)
    places = [beside / f".{path.name}-{secrets.token_hex(4)}", path.with_name(f".{path.name}-new")]
    for temporary in places:
        try:
            _write(temporary, content, mode)
            os.replace(temporary, path)  # noqa: PTH105  the one call that swaps them in one step
            return
        except OSError as error:
            if error.errno != errno.EXDEV or temporary is places[-1]:
                raise
        finally:
            temporary.unlink(missing_ok=True)


def _write(path: Path, content: bytes, mode: int) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    path.chmod(mode)


def history_of(root: Path, name: str) -> list[str]:
    """Return the kept versions of a file, the newest first."""
    folder = root / HISTORY / name
    if not folder.is_dir():
        return []
    return sorted((p.name for p in folder.iterdir() if _VERSION.fullmatch(p.name)), reverse=True)


def version_path(root: Path, name: str, version: str) -> Path:
    """Return the file of a kept version.

    Raises
    ------
    fathomlight.errors.NotFoundError
        No such version; paths are never taken.
    """
    if version not in history_of(root, name):
        raise NotFoundError(
            "there is no earlier version of this name", where=name, got=version, fix="Choose one of the list."
        )
    return root / HISTORY / name / version


def version_time(version: str) -> dt.datetime:
    """Return when a version was replaced.

    Examples
    --------
    >>> version_time("2025-07-24T180500.000001Z").isoformat()
    '2025-07-24T18:05:00.000001+00:00'
    """
    return dt.datetime.strptime(version, _FORM).replace(tzinfo=dt.UTC)
