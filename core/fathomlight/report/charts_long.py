"""Many years: trend, seasons, index, habitat."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from fathomlight.figures.series import points_down
from fathomlight.figures.shown import Units, axis_title, count_text, shown_unit, to_shown
from fathomlight.model import EQUAL, Parameter
from fathomlight.report.charts import LOOK, Chart, Sheet, legend_above, nothing, short_label
from fathomlight.report.charts_year import whole_years

INPUT_WORDS = {
    "secchi": "disc depth",
    "chlorophyll": "chlorophyll",
    "total_phosphorus": "total phosphorus",
    "total_nitrogen": "total nitrogen",
}
"""Inputs of a trophic state index as a reader knows them."""

_INPUT_STYLE = {
    "chlorophyll": ("s", LOOK.ink, -0.12),
    "secchi": ("o", LOOK.quiet, 0.0),
    "total_phosphorus": ("D", "none", 0.12),
    "total_nitrogen": ("^", "none", 0.24),
}
_CLASS_EDGES = (
    (0, 40, "oligotrophic"),
    (40, 50, "mesotrophic"),
    (50, 70, "eutrophic"),
    (70, 100, "hypereutrophic"),
)


def trend_chart(
    key: str,
    yearly: pd.DataFrame,
    cells: pd.DataFrame,
    line: pd.DataFrame,
    parameter: Parameter,
    *,
    meaning: str,
    words: str,
    small: str,
    place: str,
    units: Units,
) -> Chart:
    """Draw season and year values with the line of the trend and its limits.

    Parameters
    ----------
    key : str
        Of the picture.
    yearly, cells : pandas.DataFrame
        Of a trend answer: ``year``, ``value``, ``qualifier``.
    line : pandas.DataFrame
        ``year``, ``line``, ``low``, ``high``; empty without a slope.
    parameter : Parameter
        What was read.
    meaning : str
        ``clearer``, ``murkier``, or anything else for no certain direction.
    words, small : str
        The trend in words for who cannot see it, and the smaller line.
    place : str
        Name of the station.
    units : {"metric", "us"}
        What the reader wants.
    """
    title, what = f"{parameter.label} year by year, {place}", short_label(parameter)
    if yearly.empty:
        return nothing(key, title, "No season has a value yet.")

    def shown(values: pd.Series) -> Any:
        return to_shown(values.to_numpy(float), parameter.unit, units)

    with Sheet(2.9) as sheet:
        axes = sheet.axes
        known = meaning in ("clearer", "murkier")
        if len(line) and known:
            axes.fill_between(
                line["year"], shown(line["low"]), shown(line["high"]), color=LOOK.pale(meaning), linewidth=0,
                label="95 % limits of the slope",
            )  # fmt: skip
        if len(line):
            axes.plot(
                line["year"], shown(line["line"]), color=LOOK.meaning(meaning), linewidth=2,
                linestyle="-" if known else "--", label=f"trend: {meaning}" if known else "trend: no sure direction",
            )  # fmt: skip
        axes.plot(
            cells["year"] + 0.5, shown(cells["value"]), ".", color=LOOK.usual, ms=4, label="season values"
        )
        exact = (yearly["qualifier"] == EQUAL).to_numpy()
        for some, face, name in (
            (exact, LOOK.ink, "middle of the year"),
            (~exact, "none", "middle, only a bound"),
        ):
            if some.any():
                axes.plot(
                    yearly["year"][some] + 0.5, shown(yearly["value"])[some], "o", mfc=face, mec=LOOK.ink, ms=5.5,
                    label=name,
                )  # fmt: skip
        _value_axis(axes, cells["value"], parameter, units)
        whole_years(axes, int(yearly["year"].min()), int(yearly["year"].max()))
        axes.set_xlim(yearly["year"].min() - 0.3, yearly["year"].max() + 1.3)
        axes.set_xticks(axes.get_xticks() + 0.5, [f"{t:.0f}" for t in axes.get_xticks()])
        legend_above(axes, columns=4)
        caption = f"Season values, the middle of each year, and the line of the trend for {what}."
        return sheet.chart(key, title=title, alt=f"{title}. {words}", caption=caption, small=small)


def _value_axis(axes: Axes, values: pd.Series, parameter: Parameter, units: Units) -> None:
    shown = np.asarray(to_shown(values.to_numpy(float), parameter.unit, units))
    top, low = float(np.nanmax(shown)) * 1.08, min(0.0, float(np.nanmin(shown)))
    axes.set_ylim((top, 0) if points_down(parameter) else (low, top))
    axes.set_ylabel(axis_title(parameter, units))


def seasons_chart(
    key: str, cells: pd.DataFrame, seasons: list[str], parameter: Parameter, *, place: str, units: Units
) -> Chart:
    """Draw the values of each season over the years, side by side on one scale."""
    title = f"{parameter.label} season by season, {place}"
    there = [s for s in seasons if (cells["season"].astype(str) == s).any()]
    if not there:
        return nothing(key, title, "No season has a value yet.")
    with Sheet(1.9, columns=max(2, len(there))) as sheet:
        for axes, season in zip(sheet.many, there, strict=False):
            part = cells[cells["season"].astype(str) == season]
            exact = (part["qualifier"] == EQUAL).to_numpy()
            values = np.asarray(to_shown(part["value"].to_numpy(float), parameter.unit, units))
            axes.plot(part["year"][exact], values[exact], "o", color=LOOK.ink, ms=3)
            axes.plot(part["year"][~exact], values[~exact], "o", mfc="none", mec=LOOK.ink, ms=3)
            axes.set_title(season, fontsize=9, color=LOOK.ink, loc="left")
            axes.xaxis.set_major_locator(MaxNLocator(3, integer=True))
        for axes in sheet.many[len(there) :]:
            axes.set_axis_off()
        shown = np.asarray(to_shown(cells["value"].to_numpy(float), parameter.unit, units))
        top, low = float(np.nanmax(shown)) * 1.08, min(0.0, float(np.nanmin(shown)))
        sheet.axes.set_ylim((top, 0) if points_down(parameter) else (low, top))
        sheet.axes.set_ylabel(axis_title(parameter, units))
        caption = f"Each season by itself: {', '.join(there)}."
        return sheet.chart(
            key, title=title, alt=f"{title}. {caption}", caption=caption,
            small="One point a year: the median of the used readings of that season. Open points are bounds.",
        )  # fmt: skip


def index_chart(key: str, yearly: pd.DataFrame, *, place: str) -> Chart:
    """Draw the trophic state index of each input year by year, with its interval and the class limits.

    Parameters
    ----------
    key : str
        Of the picture.
    yearly : pandas.DataFrame
        Of a trophic answer, covered years: ``year``, ``input``, ``index``, ``low``, ``high``, ``bound``.
    place : str
        Name of the station.
    """
    title = f"Trophic state index year by year, {place}"
    if yearly.empty:
        return nothing(key, title, "No year has enough readings for a trophic state index.")
    with Sheet(3.0) as sheet:
        axes = sheet.axes
        first, last = int(yearly["year"].min()), int(yearly["year"].max())
        ends = yearly[["index", "low", "high"]].to_numpy(float)
        low, high = min(30.0, float(np.nanmin(ends)) - 3), max(60.0, float(np.nanmax(ends)) + 3)
        _classes(axes, max(low, 0), min(high, 100), last + 0.6)
        for name, part in yearly.groupby("input"):
            marker, face, shift = _INPUT_STYLE.get(str(name), ("v", "none", 0.3))
            x = part["year"].to_numpy(float) + shift
            axes.vlines(
                x,
                part["low"].fillna(part["index"]),
                part["high"].fillna(part["index"]),
                color=LOOK.usual,
                linewidth=1,
            )
            axes.plot(
                x,
                part["index"],
                marker,
                mfc=face,
                mec=LOOK.ink,
                ms=4.5,
                label=INPUT_WORDS.get(str(name), str(name)),
            )
        whole_years(axes, first, last)
        axes.set_ylabel("index [1]")
        legend_above(axes)
        newest = yearly[yearly["year"] == last]
        listed = "; ".join(
            f"{INPUT_WORDS.get(r['input'], r['input'])} {r['bound'] + ' ' if r['bound'] else ''}{r['index']:.0f}"
            for r in newest.to_dict("records")
        )
        caption = f"Index in {last}: {listed}. The higher, the richer in nutrients."
        return sheet.chart(
            key, title=title, alt=f"{title}, {first} to {last}. {caption}", caption=caption,
            small="Growing-season means with 95 % limits. Each input stands for itself; they are never averaged.",
        )  # fmt: skip


def _classes(axes: Axes, low: float, high: float, right: float) -> None:
    axes.set_ylim(low, high)
    for lower, upper, name in _CLASS_EDGES:
        if lower > low:
            axes.axhline(lower, color=LOOK.quiet, linewidth=0.8, linestyle=":")
        top, bottom = min(upper, high), max(lower, low)
        if top - bottom > 3:
            axes.text(
                right, (top + bottom) / 2, f" {name}", ha="left", va="center", color=LOOK.quiet, fontsize=8
            )


def chances_chart(key: str, rows: pd.DataFrame, classes: list[str], *, year: int, place: str) -> Chart:
    """Draw how probable each trophic class is, by input.

    Parameters
    ----------
    key : str
        Of the picture.
    rows : pandas.DataFrame
        Rows of a trophic answer for one year with a column ``p: CLASS`` a class; rows without probabilities are
        not drawn.
    classes : list of str
        Classes in order.
    year : int
        The year.
    place : str
        Name of the station.
    """
    title = f"How sure the trophic class is in {year}, {place}"
    rows = rows.dropna(subset=[f"p: {c}" for c in classes])
    if rows.empty:
        return nothing(key, title, f"No class probability for {year}: too few readings, or bounds only.")
    shades = [
        LOOK.depth_scale[i]
        for i in np.linspace(0, len(LOOK.depth_scale) - 1, len(classes)).round().astype(int)
    ]
    with Sheet(0.85 + 0.32 * len(rows)) as sheet:
        axes = sheet.axes
        names = [INPUT_WORDS.get(n, n) for n in rows["input"]]
        left = np.zeros(len(rows))
        for c, shade in zip(classes, shades, strict=True):
            chance = rows[f"p: {c}"].to_numpy(float)
            axes.barh(
                range(len(rows)),
                chance,
                left=left,
                color=shade,
                edgecolor=LOOK.quiet,
                linewidth=0.6,
                label=c,
                height=0.62,
            )
            for y, (start, width) in enumerate(zip(left, chance, strict=True)):
                if width >= 0.08:
                    axes.text(
                        start + width / 2, y, percent(float(width)), ha="center", va="center", fontsize=8.5
                    )
            left = left + chance
        axes.set_yticks(range(len(rows)), names)
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.set_xlim(0, 1)
        axes.xaxis.set_major_formatter(lambda v, _: f"{100 * v:.0f} %")
        legend_above(axes)
        best = [
            f"{n}: {c} {percent(float(r[f'p: {c}']))}"
            for n, r in zip(names, rows.to_dict("records"), strict=True)
            for c in [max(classes, key=lambda k: r[f"p: {k}"])]
        ]
        caption = f"Most probable class by input in {year}: {'; '.join(best)}."
        return sheet.chart(
            key, title=title, alt=f"{title}. {caption}", caption=caption,
            small="Probability that the growing-season mean lies in the class, from the spread of the readings.",
        )  # fmt: skip


def percent(p: float) -> str:
    """Write a probability as a percentage that never claims certainty.

    Examples
    --------
    >>> percent(0.984), percent(0.9999), percent(0.0001)
    ('98 %', 'over 99 %', 'under 1 %')
    """
    return "over 99 %" if p > 0.995 else "under 1 %" if p < 0.005 else f"{100 * p:.0f} %"


def habitat_chart(
    key: str, yearly: pd.DataFrame, *, fish: str, water: str, units: Units, has_interval: bool
) -> Chart:
    """Draw the habitat of a fish by year.

    Parameters
    ----------
    key : str
        Of the picture.
    yearly : pandas.DataFrame
        ``year``, ``area_ha``, ``low``, ``high`` [ha], ``covered``.
    fish, water : str
        Names.
    units : {"metric", "us"}
        Hectares or acres.
    has_interval : bool
        Whether the limits are drawn.
    """
    title = f"Habitat of {fish.lower()} by year, {water}"
    rows = yearly.dropna(subset=["area_ha"])
    if rows.empty:
        return nothing(key, title, "No year has readings enough to tell the habitat.")
    with Sheet(2.3) as sheet:
        axes = sheet.axes
        area = np.asarray(to_shown(rows["area_ha"].to_numpy(float), "ha", units))
        x = rows["year"].to_numpy(float)
        if has_interval:
            low, high = (np.asarray(to_shown(rows[c].to_numpy(float), "ha", units)) for c in ("low", "high"))
            axes.vlines(x, low, high, color=LOOK.usual, linewidth=4, label="interval (light, readings)")
        covered = rows["covered"].astype(bool).to_numpy()
        axes.plot(
            x[covered], area[covered], "o", color=LOOK.ink, ms=5, label="mean over the open-water season"
        )
        if (~covered).any():
            axes.plot(
                x[~covered], area[~covered], "o", mfc="none", mec=LOOK.ink, ms=5, label="season not covered"
            )
        axes.set_ylabel(f"area [{shown_unit('ha', units)}]")
        axes.set_ylim(0, float(np.nanmax(area)) * 1.25)
        whole_years(axes, int(x.min()), int(x.max()))
        legend_above(axes, columns=3)
        last = rows.iloc[-1]
        caption = (
            f"{fish}: {area[-1]:,.1f} {shown_unit('ha', units)} in {int(last['year'])}, the "
            f"{_rank(area)} of {count_text(len(area), 'year')}."
        )
        return sheet.chart(key, title=title, alt=f"{title}. {caption}", caption=caption)


def _rank(values: Any) -> str:
    place = int((values > values[-1]).sum()) + 1
    if place == 1:
        return "largest"
    if place == len(values):
        return "smallest"
    ending = "th" if 10 <= place % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{ending} largest"
