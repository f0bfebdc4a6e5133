"""Where the methods of a report come from, and what to beware of."""

from __future__ import annotations

from fathomlight.indices.words import CLARITY_CAUTION, HABITAT_CAUTION

FIELD_CAUTION = (
    "On and beside the water people get hurt: follow local rules and permits, go in pairs, wear a life jacket, keep "
    "off ice that nobody has checked, and turn back when weather or current turn. A missing reading does no harm."
)
"""Goes wherever a report asks for more readings."""

SOURCES: dict[str, str] = {
    "disc": "ISO 7027-2:2019, Water quality, determination of turbidity, part 2: semi-quantitative methods (the disc).",
    "flags": "IOC Manuals and Guides 54, volume 3 (2013), and the U.S. IOOS QARTOD manuals: quality flags.",
    "seasonal": "Hirsch, Slack & Smith (1982), Water Resources Research 18:107-121; Hirsch & Slack (1984), Water "
    "Resources Research 20:727-732: Seasonal Kendall test.",
    "slope": "Theil (1950); Sen (1968), J. Am. Stat. Assoc. 63:1379-1389; Gilbert (1987): slope and its limits; with "
    "bounds, Akritas, Murphy & LaValley (1995), J. Am. Stat. Assoc. 90:170-177.",
    "step": "Pettitt (1979), Applied Statistics 28:126-135: change of level.",
    "words": "Mastrandrea et al. (2010), IPCC guidance note on uncertainties: words for certainty.",
    "many": "Benjamini & Hochberg (1995), J. R. Stat. Soc. B 57:289-300: false discoveries among many tests.",
    "index": "Carlson (1977), Limnology and Oceanography 22:361-369; Carlson & Simpson (1996): trophic state index and "
    "its classes.",
    "habitat": "Lester, Dextrase, Kushneriuk, Rawson & Ryan (2004), Trans. Am. Fish. Soc. 133:588-605: habitat from "
    "light and temperature.",
}
"""Sources by what they are for."""

QUALIFIER_METHOD = (
    "A disc seen on the bottom counts as deeper than the bottom, and a value below detection as less than the limit; "
    "no statistic puts the limit in place of the value."
)
SEASON_METHOD = "One value a season and year: the median of its used readings (flags pass and not evaluated)."
STANDING_METHOD = (
    "A reading is clearer than usual above the {high:g}th percentile, murkier below the {low:g}th, of the station's "
    "own earlier readings taken within {window} days of the same day of the year, over at least {years} earlier years "
    "and {readings} readings."
)

__all__ = [
    "CLARITY_CAUTION",
    "FIELD_CAUTION",
    "HABITAT_CAUTION",
    "QUALIFIER_METHOD",
    "SEASON_METHOD",
    "SOURCES",
    "STANDING_METHOD",
]
