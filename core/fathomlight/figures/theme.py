"""The look of every picture: colours, shapes and the Plotly template. Colours live here and nowhere else.

Colour carries one meaning: teal is clearer, brown is murkier, grey is usual or unknown, violet needs
attention. Every meaning has a shape or a word beside its colour. Data that mean none of these are in ink.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import plotly.graph_objects as go

Meaning = Literal["clearer", "murkier", "usual", "attention"]


@dataclass(frozen=True, slots=True)
class Look:
    """One set of colours, hexadecimal sRGB.

    Attributes
    ----------
    name : {"light", "dark"}
        Which of the two.
    paper, panel : str
        Background of the page, and of boxes that lie on it.
    ink, quiet, grid : str
        Text and data; secondary text; grid lines.
    clearer, murkier, usual, attention : str
        The four meanings.
    water, shore : str
        Fill of a water on the map, and its outline.
    pale_clearer, pale_murkier, pale_usual, pale_attention : str
        The same hues, thin: bands and fills under the marks.
    depth_scale : tuple of str
        Sequential scale of one hue, cold to warm or little to much.
    """

    name: Literal["light", "dark"]
    paper: str
    panel: str
    ink: str
    quiet: str
    grid: str
    clearer: str
    murkier: str
    usual: str
    attention: str
    water: str
    shore: str
    pale_clearer: str
    pale_murkier: str
    pale_usual: str
    pale_attention: str
    depth_scale: tuple[str, ...]

    def meaning(self, word: str) -> str:
        """Return the colour of a meaning; anything unknown is grey, the colour of the unknown."""
        known = {
            "clearer": self.clearer,
            "murkier": self.murkier,
            "attention": self.attention,
        }
        return known.get(word, self.usual)

    def pale(self, word: str) -> str:
        """Return the thin colour of a meaning."""
        known = {
            "clearer": self.pale_clearer,
            "murkier": self.pale_murkier,
            "attention": self.pale_attention,
        }
        return known.get(word, self.pale_usual)

    @property
    def diverging_scale(self) -> list[list[float | str]]:
        """Murkier (0) through usual (0.5) to clearer (1), as Plotly wants a colour scale."""
        return [[0.0, self.murkier], [0.5, self.pale_usual], [1.0, self.clearer]]

    @property
    def sequential_scale(self) -> list[list[float | str]]:
        """One hue, little to much, as Plotly wants a colour scale."""
        last = len(self.depth_scale) - 1
        return [[i / last, colour] for i, colour in enumerate(self.depth_scale)]


LIGHT = Look(
    name="light",
    paper="#FBF9F4",
    panel="#F3EFE6",
    ink="#2B3238",
    quiet="#5A6168",
    grid="#E3DED3",
    clearer="#00625F",
    murkier="#8F4F0B",
    usual="#8D9094",
    attention="#6A32B8",
    water="#E4ECEC",
    shore="#A9B4B6",
    pale_clearer="#CFE5E2",
    pale_murkier="#EBDCC8",
    pale_usual="#E2E0DA",
    pale_attention="#E3D8F3",
    depth_scale=("#F2F0EA", "#DDE4E6", "#C3D2D9", "#A8C0CB", "#8CADBB", "#7199AB", "#5B879C"),
)

DARK = Look(
    name="dark",
    paper="#16191D",
    panel="#20252B",
    ink="#E7E3DA",
    quiet="#A9AFB6",
    grid="#31373E",
    clearer="#5BDDD2",
    murkier="#C57F38",
    usual="#767D86",
    attention="#A678FF",
    water="#1F2B31",
    shore="#55636B",
    pale_clearer="#1F4644",
    pale_murkier="#46341F",
    pale_usual="#2F343A",
    pale_attention="#3A2E54",
    depth_scale=("#1B2127", "#22303A", "#2A3F4C", "#33505F", "#3C6072", "#467185", "#508298"),
)

LOOKS = {"light": LIGHT, "dark": DARK}

STANDING_WORDS: dict[str, str] = {
    "clearer": "clearer than usual",
    "usual": "usual",
    "murkier": "murkier than usual",
    "too little past": "too little past",
    "no recent reading": "no recent reading",
}
"""Standing of a station, in the order of the key."""

STANDING_SHAPES: dict[str, str] = {
    "clearer": "triangle-up",
    "usual": "circle",
    "murkier": "triangle-down",
    "too little past": "circle-open",
    "no recent reading": "x-thin",
}
"""The shape that says the same as the colour."""

STANDING_GLYPHS: dict[str, str] = {
    "clearer": "▲",
    "usual": "●",
    "murkier": "▼",
    "too little past": "○",
    "no recent reading": "✕",
}
"""The same shapes in running text."""

FONT = '"Source Sans", "Source Sans Pro", "Segoe UI", system-ui, sans-serif'

PLOT_CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "displayModeBar": False,
    "responsive": True,
    "scrollZoom": False,
}
"""How the browser may handle a figure: no row of buttons over the legend, nothing fetched, nothing sent."""


def template(look: Look) -> go.layout.Template:
    """Return the Plotly template of a look.

    Parameters
    ----------
    look : Look
        :data:`LIGHT` or :data:`DARK`.

    Returns
    -------
    plotly.graph_objects.layout.Template
        Fonts, grid, margins and legend of every figure.
    """
    axis = {
        "gridcolor": look.grid,
        "linecolor": look.usual,
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": look.grid,
        "ticklen": 4,
        "automargin": True,
        "title": {"standoff": 6, "font": {"size": 13, "color": look.quiet}},
        "tickfont": {"size": 12, "color": look.quiet},
    }
    layout = {
        "font": {"family": FONT, "size": 13, "color": look.ink},
        "paper_bgcolor": look.paper,
        "plot_bgcolor": look.paper,
        "colorway": [look.ink, look.quiet, look.usual],
        "margin": {"l": 8, "r": 12, "t": 12, "b": 8},
        "xaxis": axis,
        "yaxis": axis,
        "legend": {
            "orientation": "h",
            "yanchor": "bottom",
            "y": 1.02,
            "xanchor": "left",
            "x": 0,
            "font": {"size": 12, "color": look.ink},
            "bgcolor": "rgba(0,0,0,0)",
            "itemsizing": "constant",
        },
        "hoverlabel": {
            "bgcolor": look.panel,
            "bordercolor": look.usual,
            "font": {"family": FONT, "size": 13, "color": look.ink},
        },
        "dragmode": False,
        "hovermode": "closest",
    }
    import plotly.graph_objects as go  # here, so that whoever wants the colours only does not wait for it

    return go.layout.Template(layout=layout)


def canvas(look: Look, *, height: int = 360) -> go.Figure:
    """Return an empty figure in the given look.

    Parameters
    ----------
    look : Look
        The colours.
    height : int
        Height of the figure [px].

    Returns
    -------
    plotly.graph_objects.Figure
        No traces.
    """
    import plotly.graph_objects as go

    figure = go.Figure()
    figure.update_layout(template=template(look), height=height)
    return figure


def say_nothing_to_draw(figure: go.Figure, look: Look, sentence: str) -> go.Figure:
    """Write one sentence in the middle of an empty figure, so that it is never just blank.

    Parameters
    ----------
    figure : plotly.graph_objects.Figure
        The figure to write on.
    look : Look
        The colours.
    sentence : str
        Why there is nothing, and what would change that.

    Returns
    -------
    plotly.graph_objects.Figure
        The same figure.
    """
    figure.add_annotation(
        text=wrap(sentence, 46),
        x=0.5,
        y=0.5,
        xref="paper",
        yref="paper",
        showarrow=False,
        font={"size": 14, "color": look.quiet},
    )
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    return figure


def wrap(text: str, width: int) -> str:
    """Break a sentence into lines that Plotly shows.

    Examples
    --------
    >>> wrap("too little past to say", 12)
    'too little<br>past to say'
    """
    lines: list[str] = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + len(word) + 1 > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return "<br>".join(lines)
