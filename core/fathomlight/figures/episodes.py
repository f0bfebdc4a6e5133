"""When attention was needed: one bar an episode along time."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, count_text, date_text
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw, wrap

STATES = {"open": "open", "seen": "seen, not over", "over": "over"}
"""Words of the three states of an episode."""


def episode_strip(
    episodes: pd.DataFrame,
    *,
    today: dt.date,
    units: Units = "metric",
    look: Look = LIGHT,
) -> Picture:
    """Draw episodes as bars along time, one line a station and rule.

    Parameters
    ----------
    episodes : pandas.DataFrame
        ``station`` (or ``name``), ``rule``, ``state`` ("open", "seen", "over"), ``opened``, ``ended``
        (missing while not over), ``sentence``.
    today : datetime.date
        End of the bars that are not over.
    units : {"metric", "us"}
        Not used; sentences come in the reader's units.
    look : Look
        The colours.

    Returns
    -------
    Picture
        Filled violet: open. Violet outline: seen. Grey: over.
    """
    rows = episodes.copy()
    height = 90 + 38 * max(rows.groupby(["station", "rule"]).ngroups, 1) if len(rows) else 160
    figure = canvas(look, height=height)
    if rows.empty:
        say_nothing_to_draw(figure, look, "No rule has asked for attention in this period.")
        return Picture(
            figure=figure, caption="Nothing has asked for attention.", method_line="", alt="Empty picture."
        )
    name = "name" if "name" in rows else "station"
    rows["line"] = rows[name].astype(str) + " · " + rows["rule"].astype(str)
    ends = pd.to_datetime(rows["ended"]).fillna(pd.Timestamp(today))
    starts = pd.to_datetime(rows["opened"])
    for state, words in STATES.items():
        some = (rows["state"] == state).to_numpy()
        if some.any():
            _bars(figure, rows[some], starts[some], ends[some], state, words, look)
    order = rows.sort_values("opened", ascending=False)["line"].drop_duplicates().tolist()
    figure.update_yaxes(
        categoryorder="array", categoryarray=order[::-1], fixedrange=True, showticklabels=False, ticks=""
    )
    # The words above their bars, so that a narrow screen keeps its width for time; all at once, for adding them
    # one by one copies all before.
    words_above = {"x": 0, "xref": "paper", "xanchor": "left", "yshift": 13, "showarrow": False}
    font = {"size": 11, "color": look.ink}
    figure.layout.annotations = [{**words_above, "y": line, "text": line, "font": font} for line in order]
    figure.update_xaxes(hoverformat="%-d %b %Y", type="date")
    figure.update_layout(barmode="overlay", bargap=0.68)
    counts = rows["state"].value_counts()
    told = ", ".join(f"{counts[s]} {w}" for s, w in STATES.items() if s in counts)
    caption = f"{count_text(len(rows), 'episode')}: {told}."
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"From the reading that opened each episode to the one that ended it, or to "
        f"{date_text(today)}; violet filled: open, violet outline: seen, grey: over.",
        alt=f"Bars along time, one line a station and rule. {caption}",
    )


def _bars(
    figure: go.Figure,
    rows: pd.DataFrame,
    starts: pd.Series,
    ends: pd.Series,
    state: str,
    words: str,
    look: Look,
) -> None:
    # A bar shorter than four days would be too thin to see.
    lengths = (ends - starts).dt.total_seconds().clip(lower=4 * 86400) * 1000
    sentences = rows["sentence"] if "sentence" in rows else rows["line"]
    figure.add_trace(
        go.Bar(
            base=starts.to_numpy("datetime64[us]"),
            x=lengths.to_numpy(float),
            y=rows["line"].tolist(),
            orientation="h",
            name=words,
            marker={
                "color": {"open": look.attention, "seen": look.pale_attention, "over": look.pale_usual}[
                    state
                ],
                "line": {"width": 1.5, "color": look.usual if state == "over" else look.attention},
            },
            hovertext=[wrap(str(s), 50) for s in sentences],
            hoverinfo="text",
        )
    )
