"""Write beside the target, check, rename: nobody ever finds half a file under the final name."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from fathomlight.errors import StoreFullError, StoreReadOnlyError


def write_safely(
    path: Path, write: Callable[[Path], object], verify: Callable[[Path], object] | None = None
) -> Path:
    """Write a file so that it appears whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
        The final name; its folder is made when missing.
    write : callable
        Given a temporary path with the same suffix, writes the file there.
    verify : callable, optional
        Given the temporary path, raises when the file is not what was meant.

    Returns
    -------
    pathlib.Path
        ``path``.

    Raises
    ------
    fathomlight.errors.StoreFullError
        The disk is full.
    fathomlight.errors.StoreReadOnlyError
        The folder cannot be written to.
    """
    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent)
        os.close(handle)
    except PermissionError as error:
        raise StoreReadOnlyError("cannot write here", where=str(path), got=str(error)) from None
    temporary = Path(name)
    try:
        write(temporary)
        if verify is not None:
            verify(temporary)
        temporary.chmod(0o644)
        temporary.replace(path)
    except OSError as error:
        if error.errno == 28:
            raise StoreFullError("the disk is full; nothing was written", where=str(path)) from None
        raise
    finally:
        temporary.unlink(missing_ok=True)
    return path
