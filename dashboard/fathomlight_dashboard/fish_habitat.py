"""The habitat view of the page Fish and clarity."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fathomlight_dashboard import widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def render(ws: Workspace, state: State, species: str) -> None:
    """Draw the habitat of a species in one water."""
    widgets.nothing_yet("No habitat here yet.", "")
