"""Tells labelled arrays from bare ones without importing xarray: a caller who has one has imported it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any, TypeGuard

if TYPE_CHECKING:
    import xarray as xr


def is_array(values: Any) -> TypeGuard[xr.DataArray]:
    """Return whether this is an ``xarray.DataArray``."""
    xarray = sys.modules.get("xarray")
    return xarray is not None and isinstance(values, xarray.DataArray)


def is_dataset(values: Any) -> TypeGuard[xr.Dataset]:
    """Return whether this is an ``xarray.Dataset``."""
    xarray = sys.modules.get("xarray")
    return xarray is not None and isinstance(values, xarray.Dataset)
