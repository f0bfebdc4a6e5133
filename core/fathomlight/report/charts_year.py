"""The year of a station: its readings against the past, what was read when, the alerts."""

from __future__ import annotations

import datetime as dt
from typing import Any

import matplotlib.dates as mdates
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from fathomlight.figures.series import points_down
from fathomlight.figures.shown import MONTHS, Units, axis_title, count_text, date_text, to_shown
from fathomlight.model import EQUAL, Parameter
from fathomlight.report.charts import LOOK, MARKERS, WIDTH_IN, Chart, Sheet, legend_above, nothing
from fathomlight.report.period import Period

_SHAPES = {"clearer": "triangle-up", "usual": "circle", "murkier": "triangle-down"}


def season_chart(
    key: str,
    rows: pd.DataFrame,
    envelope: pd.DataFrame,
    parameter: Parameter,
    period: Period,
    *,
    past: str,
    place: str,
    units: Units,
    width: float = WIDTH_IN,
) -> Chart:
    """Draw the readings of a year or other period over the band of its past.

    Parameters
    ----------
    key : str
        Of the picture.
    rows : pandas.DataFrame
        Used readings of the period: ``local_date``, ``value``, ``qualifier``, ``where`` (clearer, usual, murkier,
        or empty without a band on that day).
    envelope : pandas.DataFrame
        ``day_of_year``, ``low``, ``median``, ``high``.
    parameter : Parameter
        What was read.
    period : Period
        What is drawn.
    past : str
        The past in words.
    place : str
        Name of the station.
    units : {"metric", "us"}
        What the reader wants.
    width : float
        Width of the drawing [inch].

    Returns
    -------
    Chart
        Depth axes point down from the surface.
    """
    title = f"{parameter.label} {period.within} against its past, {place}"
    known = envelope.dropna(subset=["low", "high"])
    if rows.empty and known.empty:
        return nothing(key, title, f"No used reading {period.within}, and too little past for a band.")
    with Sheet(3.3 if width > 6 else 2.75, width=width) as sheet:
        axes = sheet.axes
        _band(axes, envelope, parameter, period, units)
        _marks(axes, rows, parameter, period, units)
        _period_axes(axes, rows, known, parameter, period, units)
        legend_above(axes, columns=4 if width > 6 else 2)
        counts = {w: int((rows["where"] == w).sum()) for w in _SHAPES}
        caption = _season_caption(rows, counts, period, has_band=len(known) > 0)
        small = (
            f"Band: 10th to 90th percentile of readings within 15 days of the same day in {past}; line: their median."
            if len(known) and past
            else f"Too little past for a band; only this {period.noun} is drawn."
        )
        alt = f"{title}. {caption} {_listed(rows, parameter, units)}"
        return sheet.chart(key, title=title, alt=alt, caption=caption, small=small)


def _listed(rows: pd.DataFrame, parameter: Parameter, units: Units) -> str:
    from fathomlight.figures.shown import parameter_number

    if rows.empty:
        return ""
    ends = rows.iloc[[int(rows["value"].argmin()), int(rows["value"].argmax())]]
    low, high = (
        f"{parameter_number(float(v), parameter, units, str(q))} on {date_text(d)}"
        for v, q, d in zip(ends["value"], ends["qualifier"], ends["local_date"], strict=True)
    )
    return f"Lowest {low}, highest {high}."


def _season_caption(rows: pd.DataFrame, counts: dict[str, int], period: Period, *, has_band: bool) -> str:
    n = len(rows)
    if not n:
        return f"No used reading {period.within}; the band shows what is usual here."
    told = sum(counts.values())
    if not has_band or not told:
        return f"{count_text(n, 'reading')} {period.within}; too little past to compare them with."
    text = (
        f"Of {count_text(told, 'reading')} {period.within}, {counts['clearer']} lie clearer and "
        f"{counts['murkier']} murkier than the band of the past, {counts['usual']} inside it."
    )
    return (
        text if told == n else f"{text} {count_text(n - told, 'reading')} fell on days without enough past."
    )


def _days(days: Any, year: int) -> Any:
    start = np.datetime64(f"{year}-01-01", "D")
    return start + (np.asarray(days, dtype=int) - 1).astype("timedelta64[D]")


def _band_days(days: pd.Series, period: Period) -> Any:
    """Return days of the year as dates, one year of the period after the other."""
    return np.concatenate([_days(days, year) for year in period.years])


def _band(axes: Axes, envelope: pd.DataFrame, parameter: Parameter, period: Period, units: Units) -> None:
    if envelope.empty or envelope["low"].isna().all():
        return
    low, median, high = (
        np.tile(np.asarray(to_shown(envelope[c].to_numpy(float), parameter.unit, units)), len(period.years))
        for c in ("low", "median", "high")
    )
    when = _band_days(envelope["day_of_year"], period)
    outside = (when < np.datetime64(period.first)) | (when > np.datetime64(period.last))
    low[outside] = median[outside] = high[outside] = np.nan
    axes.fill_between(
        when, low, high, color=LOOK.pale_usual, linewidth=0, label="usual for the day (8 of 10 readings)"
    )
    axes.plot(when, median, color=LOOK.usual, linewidth=1.4, label="middle of the past")


def _marks(axes: Axes, rows: pd.DataFrame, parameter: Parameter, period: Period, units: Units) -> None:
    values = np.asarray(to_shown(rows["value"].to_numpy(float), parameter.unit, units))
    when = rows["local_date"].to_numpy("datetime64[D]")
    down = points_down(parameter)
    if down:
        axes.vlines(when, 0, values, color=LOOK.quiet, linewidth=0.5, alpha=0.6)
    names = {
        "clearer": "clearer than the band",
        "murkier": "murkier than the band",
        "usual": period.label if period.whole_year else "as usual",
    }
    for word, name in names.items():
        some = (rows["where"] == word).to_numpy() | ((word == "usual") & (rows["where"] == "").to_numpy())
        if not some.any():
            continue
        colour = LOOK.ink if word == "usual" else LOOK.meaning(word)
        measured = (rows["qualifier"] == EQUAL).to_numpy()
        marker = MARKERS[_SHAPES[word]]
        axes.plot(when[some & measured], values[some & measured], marker, color=colour, ms=6, label=name)
        bound = some & ~measured
        if bound.any():
            axes.plot(when[bound], values[bound], marker, mfc="none", mec=colour, ms=6)
            _arrows(axes, when[bound], values[bound], rows["qualifier"].to_numpy()[bound], colour, down)


def _arrows(axes: Axes, when: Any, values: Any, qualifiers: Any, colour: str, down: bool) -> None:
    """Draw an arrow from every value that is only a bound, toward where the true value lies."""
    for x, y, q in zip(when, values, qualifiers, strict=True):
        sign = -1 if (q == ">") == down else 1
        axes.annotate(
            "", xy=(x, y), xytext=(0, 14 * sign), textcoords="offset points",
            arrowprops={"arrowstyle": "<|-", "color": colour, "lw": 0.9, "shrinkA": 0, "shrinkB": 3},
        )  # fmt: skip
    if "bound: beyond it" not in axes.get_legend_handles_labels()[1]:
        axes.plot([], [], "o", mfc="none", mec=LOOK.ink, ms=6, label="bound: beyond it")


def _period_axes(
    axes: Axes, rows: pd.DataFrame, known: pd.DataFrame, parameter: Parameter, period: Period, units: Units
) -> None:
    every = np.concatenate([rows["value"].to_numpy(float), known["high"].to_numpy(float)])
    top = float(np.nanmax(to_shown(every, parameter.unit, units))) * 1.10
    low = min(0.0, float(np.nanmin(to_shown(every, parameter.unit, units))))
    if points_down(parameter):
        axes.set_ylim(top, 0)
        axes.spines["bottom"].set_visible(False)
        axes.axhline(0, color=LOOK.quiet, linewidth=1.6)
    else:
        axes.set_ylim(low, top)
    axes.set_ylabel(axis_title(parameter, units))
    days = [pd.Timestamp(d) for d in rows["local_date"]]
    if len(known):
        drawn = _band_days(known["day_of_year"], period)
        drawn = drawn[(drawn >= np.datetime64(period.first)) & (drawn <= np.datetime64(period.last))]
        days += [pd.Timestamp(d) for d in drawn]
    days = days or [pd.Timestamp(period.first), pd.Timestamp(period.last)]
    month_axis(axes, min(days).date() - dt.timedelta(days=6), max(days).date() + dt.timedelta(days=6))


def month_axis(axes: Axes, first: dt.date, last: dt.date) -> None:
    """Label the months in the middle of each, with a tick where each begins."""
    axes.set_xlim(np.datetime64(first), np.datetime64(last))  # type: ignore[arg-type]
    months = (last - first).days / 30.4
    if months > 72:
        axes.xaxis.set_major_locator(mdates.YearLocator())  # type: ignore[no-untyped-call]
        axes.xaxis.set_major_formatter(lambda v, _: str(_date(v).year))
        return
    step = 1 if months <= 18 else 3 if months <= 36 else 6
    several = first.year != last.year and months > 13
    axes.xaxis.set_major_locator(mdates.MonthLocator(range(1, 13, step)))  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_formatter(lambda v, _: _month_text(_date(v), several))


def _month_text(day: dt.datetime, with_year: bool) -> str:
    name = MONTHS[day.month - 1]
    return f"{name}\n{day.year}" if with_year and day.month == 1 else name


def _date(number: float) -> dt.datetime:
    found: dt.datetime = mdates.num2date(number)  # type: ignore[no-untyped-call]
    return found


def visits_chart(
    key: str, rows: pd.DataFrame, labels: dict[str, str], period: Period, *, place: str, until: dt.date
) -> Chart:
    """Draw on which days of a period each parameter was read, and how the readings were flagged.

    Parameters
    ----------
    key : str
        Of the picture.
    rows : pandas.DataFrame
        Readings of the period, all flags: ``parameter``, ``local_date``, ``flag``.
    labels : dict of str to str
        Parameters in the order of the rows, and their names.
    period : Period
        What is drawn.
    place : str
        Name of the station.
    until : datetime.date
        Last day that could have been read.
    """
    title = f"Days with readings {period.within}, {place}"
    if rows.empty:
        return nothing(key, title, f"Nothing was read here {period.within}.")
    shapes = {
        1: ("o", LOOK.ink, LOOK.ink),
        3: ("o", "none", LOOK.attention),
        4: ("x", LOOK.attention, LOOK.attention),
    }
    names = {1: "used", 3: "suspect, not used", 4: "failed or missing, not used"}
    worst = rows.assign(kind=rows["flag"].map({1: 1, 2: 1, 3: 3}).fillna(4).astype(int))
    days = worst.groupby(["parameter", "local_date", "kind"], as_index=False).size()
    with Sheet(0.75 + 0.27 * len(labels)) as sheet:
        axes = sheet.axes
        order = {p: i for i, p in enumerate(labels)}
        for kind, (marker, face, edge) in shapes.items():
            part = days[days["kind"] == kind]
            if len(part):
                axes.plot(
                    part["local_date"].to_numpy("datetime64[D]"), part["parameter"].map(order).to_numpy(),
                    marker, mfc=face, mec=edge, ms=4.5 if kind == 1 else 6.5, label=names[kind],
                )  # fmt: skip
        axes.set_yticks(range(len(labels)), list(labels.values()))
        axes.set_ylim(len(labels) - 0.4, -0.6)
        axes.axvline(np.datetime64(until), color=LOOK.usual, linewidth=0.8, linestyle=":")  # type: ignore[arg-type]
        month_axis(axes, period.first, period.last)
        legend_above(axes, columns=3)
        n = rows["local_date"].nunique()
        alt = f"{title}: " + "; ".join(
            f"{labels[str(p)]} on {count_text(g['local_date'].nunique(), 'day')}"
            for p, g in rows.groupby("parameter")
        )
        caption = f"Something was read on {count_text(n, 'day')} {period.of}."
        return sheet.chart(
            key, title=title, alt=alt + ".", caption=caption,
            small=f"One mark a day and parameter, at any depth. The dotted line is {date_text(until)}.",
        )  # fmt: skip


def record_chart(key: str, days: pd.Series, period: Period, *, place: str, label: str, n: int) -> Chart:
    """Draw on how many days of each year a parameter was read.

    Parameters
    ----------
    key : str
        Of the picture.
    days : pandas.Series
        Days by year.
    period : Period
        That of the report; its years are drawn darker.
    place, label : str
        Station and parameter.
    n : int
        Days within the period.
    """
    title = f"Days with used readings each year, {place}"
    if days.empty:
        return nothing(key, title, "No used readings yet.")
    every = days.reindex(
        range(int(days.index.min()), max(*period.years, int(days.index.max())) + 1), fill_value=0
    )
    with Sheet(1.7) as sheet:
        axes = sheet.axes
        colours = [LOOK.ink if y in period.years else LOOK.usual for y in every.index]
        axes.bar(every.index, every.to_numpy(), color=colours, width=0.75)
        axes.set_ylabel("days")
        whole_years(axes, int(every.index.min()), int(every.index.max()))
        axes.set_ylim(0, max(1, int(every.max()) * 1.15))
        axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
        middle = float(every.median())
        caption = (
            f"{label} was read on {count_text(n, 'day')} {period.within}; "
            f"{middle:.0f} a year is the median of {count_text(len(every), 'year')}."
        )
        gaps = [str(y) for y in every.index[every == 0]]
        small = (
            f"Years without a used reading: {', '.join(gaps)}." if gaps else "No year is without readings."
        )
        return sheet.chart(key, title=title, alt=f"{title}. {caption}", caption=caption, small=small)


def whole_years(axes: Axes, first: int, last: int) -> None:
    """Put ticks on whole years, never more than fit."""
    step = max(1, -(-(last - first + 1) // 12))
    axes.set_xlim(first - 0.6, last + 0.6)
    axes.set_xticks(range(last - (last - first) // step * step, last + 1, step))


def episodes_chart(
    key: str, rows: pd.DataFrame, first: dt.date, last: dt.date, *, today: dt.date, title: str
) -> Chart:
    """Draw episodes as bars in time.

    Parameters
    ----------
    key : str
        Of the picture.
    rows : pandas.DataFrame
        ``what`` (label of the row), ``opened``, ``over`` (naive times, NaT while going on), ``state``.
    first, last : datetime.date
        The stretch drawn.
    today : datetime.date
        Where an episode that is not over ends in the drawing.
    title : str
        Name of the picture.
    """
    if rows.empty:
        return nothing(
            key, title, f"No rule asked for attention from {date_text(first)} to {date_text(last)}."
        )
    labels = list(dict.fromkeys(rows["what"]))
    with Sheet(0.8 + 0.27 * len(labels)) as sheet:
        axes = sheet.axes
        for row in rows.to_dict("records"):
            y = labels.index(row["what"])
            start: Any = max(pd.Timestamp(row["opened"]), pd.Timestamp(first))
            going = pd.isna(row["over"]) or pd.Timestamp(row["over"]) > pd.Timestamp(last)
            end: Any = min(pd.Timestamp(today), pd.Timestamp(last)) if going else pd.Timestamp(row["over"])
            colour = LOOK.attention if row["state"] == "open" else LOOK.usual
            axes.plot([start, max(start, end)], [y, y], color=colour, linewidth=6, solid_capstyle="butt")
            axes.plot([start], [y], "|", color=colour, ms=11, mew=2)
            if going:
                axes.plot([max(start, end)], [y], ">", color=colour, ms=7)
        axes.set_yticks(range(len(labels)), labels)
        axes.set_ylim(len(labels) - 0.4, -0.6)
        month_axis(axes, first, last)
        handles = [
            Line2D([], [], color=LOOK.attention, linewidth=6, label="open"),
            Line2D([], [], color=LOOK.usual, linewidth=6, label="seen, or over"),
            Line2D([], [], color=LOOK.quiet, marker=">", linestyle="", label="goes on"),
        ]
        legend_above(axes, handles=handles)
        n_open = int((rows["state"] == "open").sum())
        span = f"between {date_text(first)} and {date_text(last)}"
        caption = f"{count_text(len(rows), 'episode')} {span}; {n_open} still open."
        alt = f"{title}. {caption} " + "; ".join(
            f"{r['what']}: from {date_text(r['opened'])}"
            + ("" if pd.isna(r["over"]) else f" to {date_text(r['over'])}")
            for r in rows.to_dict("records")
        )
        return sheet.chart(key, title=title, alt=alt + ".", caption=caption)
