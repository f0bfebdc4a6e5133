"""The sign in the browser's tab: a disc on its line, half way down; drawn here, so that nothing is fetched."""

from __future__ import annotations

from fathomlight.figures.theme import LIGHT

ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64">'
    f'<rect width="64" height="64" rx="12" fill="{LIGHT.clearer}"/>'
    f'<path d="M6 16h52" stroke="{LIGHT.pale_clearer}" stroke-width="5" stroke-linecap="round"/>'
    f'<path d="M32 16v20" stroke="{LIGHT.paper}" stroke-width="4"/>'
    f'<ellipse cx="32" cy="42" rx="19" ry="9" fill="{LIGHT.paper}"/>'
    f'<path d="M32 42V33a19 9 0 0 1 19 9zM32 42v9a19 9 0 0 1-19-9z" fill="{LIGHT.ink}"/>'
    "</svg>"
)
"""An SVG image."""
