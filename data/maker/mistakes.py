"""Honest mistakes, planted in the finished sheets, each written down with what should become of it."""

from __future__ import annotations

from collections.abc import Callable

from .sheets import Rows

HEADER = ["file", "line", "station", "parameter", "mistake", "expected"]
Record = list[object]


def _find(rows: Rows, start: int, **want: str) -> int:
    """Return the position of the first row from ``start`` on whose cells begin with the wanted texts."""
    for i in range(start, len(rows)):
        if all(str(rows[i][int(k[1:])]).startswith(v) for k, v in want.items()):
            return i
    raise LookupError(want)


def plant(files: dict[str, Rows], first_line: Callable[[str], int]) -> list[Record]:
    """Change the rows in place; return one record per planted mistake.

    ``first_line`` gives the line number of a file's first row of data, counted from 1.
    """
    log: list[Record] = []

    def note(file: str, i: int, station: str, parameter: str, mistake: str, expected: str) -> None:
        log.append([f"readings/{file}", first_line(file) + i, station, parameter, mistake, expected])

    early, middle, long_, now = (
        files[f] for f in ("crew_2006_2013.csv", "crew_2014_2020.csv", "crew_2021_2024.csv", "crew_2025.csv")
    )
    cards, cards_now = files["volunteers_2006_2024.csv"], files["volunteers_2025.csv"]

    for month in ("2008-05", "2008-06", "2008-07"):
        i = _find(early, 0, c0="PIN-1", c1=month)
        early.insert(i + 1, list(early[i]))
        note("crew_2006_2013.csv", i + 1, "PIN-1", "all of the row", "row typed twice", "taken once")

    i = _find(middle, 0, c0="VEL-1", c1="2017-07")
    middle[i][3] = f"{float(str(middle[i][3])) / 0.3048:.1f}"
    note("crew_2014_2020.csv", i, "VEL-1", "secchi", "feet written in a column of metres", "suspect")

    i = _find(early, 0, c0="TAN-1", c1="2012-08")
    early[i][3] = f"{float(str(early[i][3])) * 10:.0f}"
    note(
        "crew_2006_2013.csv",
        i,
        "TAN-1",
        "secchi",
        "decimal point lost: deeper than the lake",
        "suspect",
    )

    i = _find(early, 0, c0="QUE-2", c1="2010-07")
    early[i][5] = f"{float(str(early[i][5])) * 10:.0f}"
    note(
        "crew_2006_2013.csv",
        i,
        "QUE-2",
        "temperature",
        "decimal point lost: hotter than water can be",
        "refused",
    )

    i = _find(long_, 0, c0="TAN-1", c1="2022-07", c2="disc")
    long_[i][0] = "TAN-9"
    note("crew_2021_2024.csv", i, "TAN-9", "secchi", "a station that does not exist", "refused")
    i = _find(long_, 0, c0="QUE-2", c1="2023-06", c2="disc")
    long_[i][3] = "cloudy"
    note("crew_2021_2024.csv", i, "QUE-2", "secchi", "a word in place of a number", "refused")
    i = _find(now, 0, c0="QUE-2", c1="2025-06", c2="turbidity")
    now[i][4] = "m"
    note("crew_2025.csv", i, "QUE-2", "turbidity_ntu", "a unit that does not fit", "refused")

    i = _find(cards, 0, c0="North arm", c1="7/", c2="1")
    cards[i][1] = str(cards[i][1])[:-4] + "2081"
    note("volunteers_2006_2024.csv", i, "VEL-2", "all of the row", "a date in the future", "refused")
    i = _find(cards, 400, c0="Reed edge")
    cards[i][2] = "about 4"
    note("volunteers_2006_2024.csv", i, "PIN-2", "secchi", "a guess in words", "refused")
    i = _find(cards_now, 0, c0="Island narrows", c1="7/")
    cards_now[i][4] = "21"
    note(
        "volunteers_2025.csv",
        i,
        "TAN-2",
        "temperature",
        "Celsius written in a column of Fahrenheit",
        "refused",
    )
    return log


def corrections(files: dict[str, Rows]) -> Rows:
    """Return a sheet in the long crew layout that changes three readings of 2023."""
    source = files["crew_2021_2024.csv"]
    out: Rows = []
    for station, month, change in (
        ("VEL-1", "2023-06", 0.6),
        ("TAN-1", "2023-07", -0.3),
        ("QUE-1", "2023-08", 0.4),
    ):
        row = list(source[_find(source, 0, c0=station, c1=month, c2="disc")])
        row[3] = f"{float(str(row[3])) + change:.1f}"
        row[5] = "field book read again"
        out.append(row)
    return out


GOOD_WEEK: Rows = [
    ["VEL-1", "2025-09-26", "10:15", "7.6", "", "17.4", "<0.5", "", "", ""],
    ["PIN-3", "2025-09-27", "09:45", "2.2", "", "16.9", "1.4", "", "", ""],
    ["PIN-1", "2025-09-27", "12:30", "1.9", "B", "17.5", "1.7", "", "", "second look at noon"],
    ["TAN-1", "2025-09-26", "13:15", "2.1", "", "17.8", "1.5", "", "", ""],
    ["QUE-1", "2025-09-27", "13:30", "1.7", "", "18.6", "2.4", "", "", ""],
    ["RIV-1", "2025-09-26", "09:15", "0.75", "", "15.6", "9.8", "27", "446", "calm"],
]
BAD_WEEK: Rows = [
    ["VEL-1", "2025-09-24", "10:30", "7.4", "", "17.9", "<0.5", "", "", ""],
    ["VEL-9", "2025-09-24", "11:15", "5.1", "", "", "", "", "", ""],
    ["TAN-1", "2025-13-04", "13:15", "2.2", "", "", "", "", "", ""],
    ["QUE-1", "2025-09-24", "13:30", "murky", "", "", "", "", "", ""],
    ["QUE-3", "2025-09-24", "14:00", "1.6", "", "18.9", "2.6", "", "", ""],
    ["RIV-2", "2025-09-25", "09:15", "0.50", "", "16.1", "18", "17", "424", ""],
]
