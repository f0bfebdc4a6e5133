"""What a rule would have done: episodes opened in each year."""

from __future__ import annotations

from collections.abc import Mapping

import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import count_text
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw


def rule_by_year(per_year: Mapping[int, int], *, look: Look = LIGHT, height: int = 200) -> Picture:
    """Draw how often a rule would have asked for attention, one bar a year.

    Parameters
    ----------
    per_year : mapping of int to int
        Year -> episodes opened in it; years without any as 0.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Violet bars with their number on top.

    Examples
    --------
    >>> rule_by_year({2023: 2, 2024: 0, 2025: 1}).caption
    'Opened 3 times in 3 years, most often in 2023 (2).'
    """
    figure = canvas(look, height=height)
    years, counts = [int(y) for y in per_year], [int(n) for n in per_year.values()]
    total = sum(counts)
    if total == 0:
        say_nothing_to_draw(figure, look, "The rule would not have asked for attention once.")
        return Picture(figure=figure, caption="Never opened.", method_line="", alt="Empty picture.")
    figure.add_trace(
        go.Bar(
            x=years,
            y=counts,
            text=[str(n) for n in counts],
            textposition="outside",
            cliponaxis=False,
            marker={"color": look.attention},
            hovertemplate="%{x}: %{y}<extra></extra>",
        )
    )
    figure.update_xaxes(tickformat="d", dtick=1 if len(years) <= 12 else None, fixedrange=True)
    figure.update_yaxes(
        title_text="Episodes", range=[0, 1.25 * max(counts)], tickformat="d", fixedrange=True,
        dtick=1 if max(counts) <= 5 else None,
    )  # fmt: skip
    most = max(counts)
    often = [str(y) for y, n in zip(years, counts, strict=True) if n == most]
    when = often[0] if len(often) == 1 else f"{', '.join(often[:-1])} and {often[-1]}"
    caption = (
        f"Opened {count_text(total, 'time')} in {count_text(len(years), 'year')}, "
        f"most often in {when} ({most}{' each' if len(often) > 1 else ''})."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line="By the calendar year (UTC) in which an episode opened; the last year is not over.",
        alt=f"Bars, one a year: episodes the rule would have opened. {caption}",
    )
