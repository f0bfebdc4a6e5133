"""Pictures of a report: matplotlib drawings as inline SVG, each with a title and a description for who cannot see it.

Colours and meanings are those of :mod:`fathomlight.figures.theme`. Nothing is fetched; letters stay letters, so that
they can be searched and read out.
"""

from __future__ import annotations

import html
import io
import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from fathomlight.figures.theme import LIGHT, Look
from fathomlight.model import Parameter

LOOK: Look = LIGHT
"""Paper is light: reports know no dark look."""

WIDTH_IN = 6.9
"""Width of a full-width picture, the text width of A4 and letter paper [inch]."""

LEAST_YEARS = 5
"""Fewer years than these are not spoken of as a trend."""

MARKERS = {"triangle-up": "^", "circle": "o", "triangle-down": "v", "circle-open": "o", "x-thin": "x"}
"""Shapes of the theme as matplotlib calls them."""

# Verdana has the widths of DejaVu Sans; any other common face is narrower, and fits.
_FONTS = "DejaVu Sans, Verdana, sans-serif"

# Settings of matplotlib are global to the process: one drawing at a time.
_LOCK = threading.Lock()
_SETTINGS: dict[str, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "fathomlight",
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "text.color": LOOK.ink,
    "axes.edgecolor": LOOK.usual,
    "axes.labelcolor": LOOK.quiet,
    "axes.labelsize": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "xtick.color": LOOK.quiet,
    "ytick.color": LOOK.quiet,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "lines.solid_capstyle": "butt",
    "hatch.linewidth": 0.5,
}


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One picture with its words.

    Attributes
    ----------
    key : str
        Unique in a report; begins the ids inside the SVG.
    svg : str
        An ``<svg>`` element with ``role="img"``, title and description.
    caption : str
        One sentence that says what it shows.
    small : str
        The smaller line: method, number of readings, window.
    wide : bool
        False for a picture that needs half the width only.
    """

    key: str
    svg: str
    caption: str
    small: str = ""
    wide: bool = True


class Sheet:
    """An empty drawing; ``with Sheet(height) as sheet`` holds matplotlib until it is finished."""

    def __init__(self, height: float, *, width: float = WIDTH_IN, rows: int = 1, columns: int = 1) -> None:
        self.size = (width, height)
        self.shape = (rows, columns)

    def __enter__(self) -> Sheet:
        _LOCK.acquire()
        self._context = mpl.rc_context(cast(Any, _SETTINGS))
        self._context.__enter__()
        self.figure = Figure(figsize=self.size, layout="constrained", facecolor="none")
        FigureCanvasSVG(self.figure)
        self.axes: Axes = self.figure.add_subplot(111) if self.shape == (1, 1) else self._grid()
        return self

    def _grid(self) -> Axes:
        self.many: list[Axes] = list(
            self.figure.subplots(*self.shape, sharex=True, sharey=True, squeeze=False).ravel()
        )
        return self.many[0]

    def __exit__(self, *exc: Any) -> None:
        self._context.__exit__(*exc)
        _LOCK.release()

    def chart(
        self, key: str, *, title: str, alt: str, caption: str, small: str = "", wide: bool = True
    ) -> Chart:
        """Finish the drawing.

        Parameters
        ----------
        key : str
            Unique in the report.
        title, alt : str
            Name and description for who cannot see it.
        caption, small : str
            Words below it.
        wide : bool
            False for half the width.
        """
        for axes in self.figure.axes:
            axes.patch.set_alpha(0)
            axes.grid(visible=True, color=LOOK.grid, linewidth=0.7)
        buffer = io.StringIO()
        self.figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
        return Chart(
            key=key, svg=inline(buffer.getvalue(), key, title, alt), caption=caption, small=small, wide=wide
        )


def inline(text: str, key: str, title: str, alt: str) -> str:
    """Turn an SVG file into an element for the middle of a page.

    Parameters
    ----------
    text : str
        What matplotlib wrote.
    key : str
        Begins every id, so that several drawings can stand in one page.
    title, alt : str
        Name and description.

    Returns
    -------
    str
        ``<svg role="img" aria-labelledby=...>`` without prolog, metadata or size in points.
    """
    body = text[text.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>\s*", "", body, flags=re.DOTALL)
    # The one rule of its style sheet, inherited from the root instead: no selector to match at every node.
    body = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>\s*", "", body, flags=re.DOTALL)
    body = re.sub(r'\b(d|points)="([^"]+)"', _rounded, body)
    body = re.sub(r'\sstyle="([^"]*)"', _attributes, body)
    body = re.sub(r"<!--.*?-->\s*", "", body, flags=re.DOTALL)
    asked = set(re.findall(r"(?:#)([\w.-]+)", body))
    body = re.sub(r'\sid="([^"]+)"', lambda m: m[0] if m[1] in asked else "", body)
    body = re.sub(r'\bid="([^"]+)"', rf'id="{key}-\1"', body)
    body = re.sub(r'xlink:href="#([^"]+)"', rf'xlink:href="#{key}-\1"', body)
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", body)
    head, rest = body.split(">", 1)
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', head)
    width, height = box.groups() if box else ("497", "200")
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'stroke-linejoin="round" stroke-linecap="butt" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" role="img" '
        f'aria-labelledby="{key}-title {key}-desc"'
    )
    words = (
        f'<title id="{key}-title">{html.escape(title)}</title><desc id="{key}-desc">{html.escape(alt)}</desc>'
    )
    return f"{head}>{words}{rest}".strip()


def _rounded(found: re.Match[str]) -> str:
    """Round coordinates to hundredths of a point: finer than any printer."""
    numbers = re.sub(r"-?\d+\.\d{3,}", lambda m: f"{float(m[0]):.2f}".rstrip("0").rstrip("."), found[2])
    return f'{found[1]}="{" ".join(numbers.split())}"'


def _attributes(found: re.Match[str]) -> str:
    """Write a style as attributes: the same to a browser, and much quicker to turn into a PDF."""
    out = []
    for part in found[1].split(";"):
        name, _, value = (p.strip() for p in part.partition(":"))
        if name == "font":
            size = re.search(r"[\d.]+(?=px)", value)
            out.append(f'font-size="{size[0] if size else 9}" font-family="{_FONTS}"')
            out += [
                f'{a}="{w}"'
                for a, w in (("font-weight", "bold"), ("font-weight", "700"), ("font-style", "italic"))
                if w in value
            ]
        elif name:
            out.append(f'{name}="{value}"')
    return "".join(f" {text}" for text in out)


def nothing(key: str, title: str, sentence: str) -> Chart:
    """Return a picture that says why there is nothing to draw, so that it is never just blank.

    Parameters
    ----------
    key, title : str
        As for :meth:`Sheet.chart`.
    sentence : str
        Why, and what would change that.
    """
    with Sheet(0.7) as sheet:
        sheet.axes.set_axis_off()
        sheet.axes.text(
            0.5, 0.5, sentence, ha="center", va="center", color=LOOK.quiet, transform=sheet.axes.transAxes
        )
        return sheet.chart(key, title=title, alt=sentence, caption="", small="")


def short_label(what: Parameter) -> str:
    """Return the label of a parameter for the middle of a sentence, without what stands in brackets.

    Examples
    --------
    >>> short_label(Parameter("secchi", "Disc depth (Secchi)", "m"))
    'disc depth'
    """
    return _lower(re.sub(r"\s*\(.*\)", "", what.label))


def _lower(text: str) -> str:
    """Begin a label with a small letter, unless it is an abbreviation."""
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def legend_above(axes: Axes, *, columns: int = 4, handles: Sequence[Any] | None = None) -> None:
    """Put the legend above the picture, where it covers nothing."""
    found, names = axes.get_legend_handles_labels()
    shown = list(handles) if handles is not None else found
    figure = axes.get_figure(root=True)
    if figure is None or not shown:
        return
    words = [str(h.get_label()) for h in shown] if handles is not None else [str(n) for n in names]
    # More than a line of them: fewer columns, or the last would be cut off.
    columns = min(columns, 3) if len(words) > 4 else columns
    figure.legend(
        shown,
        words,
        loc="outside upper left",
        ncols=columns,
        borderaxespad=0.2,
        handletextpad=0.4,
        columnspacing=1.2,
    )
