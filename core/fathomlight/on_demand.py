"""Names of a package imported when they are first asked for, so that whoever needs one does not wait for all."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def names_on_demand(package: str, where: Mapping[str, tuple[str, ...]]) -> Callable[[str], Any]:
    """Return the ``__getattr__`` of a package whose names live in its modules.

    Parameters
    ----------
    package : str
        ``__name__`` of the package.
    where : mapping of str to tuple of str
        Module (within the package) to the public names it gives. No name may be that of a module of the package.

    Returns
    -------
    callable
        Imports the module of a name and keeps the name in the package.

    Examples
    --------
    >>> from fathomlight import figures
    >>> figures.station_map.__module__
    'fathomlight.figures.map'
    """
    module_of = {name: module for module, names in where.items() for name in names}

    def look_up(name: str) -> Any:
        if name not in module_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        found = getattr(import_module(f"{package}.{module_of[name]}"), name)
        setattr(sys.modules[package], name, found)
        return found

    return look_up
