"""Units: what people write, and what Fathomlight keeps.

Field sheets, spreadsheets and loggers spell one unit in many ways (``ft``, ``feet``, ``1 Meters``, ``µg/L``
damaged to ``Âµg/L``). :func:`parse_unit` reads them; :func:`to_canonical` turns a value into the one unit its
parameter is stored in; :func:`to_display` turns it back into what a reader wants to see.

Turbidity units (NTU, FNU, JTU ...) name the optics of the instrument as well as the scale. Each is a kind
of its own here, and nothing converts one into another: that would need the instrument and the water, not a
factor (US EPA Method 180.1, 1993, for NTU; ISO 7027-1:2016 for FNU).

Every conversion is ``(value + shift) * ratio`` with an exact ratio: 1 ft = 0.3048 m, 1 in = 0.0254 m,
1 yd = 0.9144 m, 1 mile = 1609.344 m, 1 acre = 4046.8564224 m2, 1 lb = 453.59237 g (international yard and
pound agreement, 1959).
"""

from fathomlight.units.conversion import convert, convert_difference, to_canonical
from fathomlight.units.display import (
    DisplayUnit,
    System,
    display_units,
    format_value,
    round_turbidity,
    to_display,
    to_display_difference,
)
from fathomlight.units.known import Unit
from fathomlight.units.spelling import parse_unit, split_value_unit

__all__ = [
    "DisplayUnit",
    "System",
    "Unit",
    "convert",
    "convert_difference",
    "display_units",
    "format_value",
    "parse_unit",
    "round_turbidity",
    "split_value_unit",
    "to_canonical",
    "to_display",
    "to_display_difference",
]
