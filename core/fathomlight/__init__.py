"""Fathomlight: a water-clarity workbench for the people who look after lakes and rivers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace, open_workspace

__version__ = "0.1.0"
__all__ = ["Workspace", "__version__", "open_workspace"]


def __getattr__(name: str) -> Any:
    """Import the workspace only when it is asked for, so that ``fathomlight --help`` stays quick."""
    if name in {"Workspace", "open_workspace"}:
        from fathomlight import workspace

        return getattr(workspace, name)
    raise AttributeError(f"module 'fathomlight' has no attribute {name!r}")
