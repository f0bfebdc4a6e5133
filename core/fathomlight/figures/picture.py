"""What every figure function gives back: the picture, and the words that belong under it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A figure with its words.

    Attributes
    ----------
    figure : plotly.graph_objects.Figure
        The drawing, in the chosen look and units.
    caption : str
        One plain sentence: what the picture shows.
    method_line : str
        The smaller second line: method, number of readings, window.
    alt : str
        The same for someone who cannot see it: kind of picture, axes and the main message.
    """

    figure: go.Figure
    caption: str
    method_line: str
    alt: str

    def to_dict(self) -> dict[str, Any]:
        """Return the figure as plain Plotly JSON beside its words."""
        return {
            "figure": self.figure.to_plotly_json(),
            "caption": self.caption,
            "method_line": self.method_line,
            "alt": self.alt,
        }
