"""Invented fish surveys: gill nets, trap nets, seines, boat electrofishing, backpack removal.

Planted: walleye in gill nets follow clarity with a hump, log mean = a - CURVE * ln(disc / OPTIMUM) ** 2,
spread as a negative binomial; a backpack pass takes each remaining fish with probability CAPTURE.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .base import AS_OF, number, stream
from .clarity import growing_season_disc
from .sheets import Rows

OPTIMUM = 2.0
"""Disc depth at which gill nets take most walleye [m]."""
CURVE = 1.6
THETA = 3.0
"""Negative binomial size: variance = mean + mean**2 / THETA."""
PEAK_PER_NIGHT = 9.0
"""Walleye per net-night at the optimum."""
CAPTURE = {"walleye": 0.55, "smallmouth bass": 0.50, "northern pike": 0.45}
PASSES = 3
SPECIES = ("walleye", "northern pike", "yellow perch", "smallmouth bass")
# log10 weight [g] = a + b log10 length [mm]: published standard weights (see data/README.md)
STANDARD = {
    "walleye": (-5.453, 3.180),
    "northern pike": (-5.437, 3.096),
    "yellow perch": (-5.386, 3.230),
    "smallmouth bass": (-5.329, 3.200),
}
# von Bertalanffy growth: final length [mm], rate [1/a], age at length zero [a]; yearly survival
GROWTH = {
    "walleye": (680, 0.22, -0.6, 0.68),
    "northern pike": (920, 0.26, -0.5, 0.60),
    "yellow perch": (310, 0.30, -0.4, 0.55),
    "smallmouth bass": (480, 0.22, -0.4, 0.66),
}
GEARS: dict[str, tuple[str, str, int, tuple[str, ...], tuple[int, int]]] = {
    # key: gear, effort unit, sets per survey year, waters, youngest and oldest age taken
    "GN": ("gill net", "net-night", 6, ("vellumere", "pindlewick", "tannerook", "quernholt"), (2, 14)),
    "TN": ("trap net", "net-night", 4, ("pindlewick", "tannerook", "quernholt"), (1, 12)),
    "SN": ("seine", "m2", 5, ("vellumere", "pindlewick", "tannerook", "quernholt"), (0, 1)),
    "NE": (
        "boat electrofishing",
        "h",
        4,
        ("vellumere", "pindlewick", "tannerook", "quernholt", "grumblewash"),
        (0, 9),
    ),
}
STATIONS = {
    "vellumere": ("VEL-1", "VEL-2", "VEL-3"),
    "pindlewick": ("PIN-1", "PIN-3"),
    "tannerook": ("TAN-1", "TAN-2"),
    "quernholt": ("QUE-1", "QUE-2", "QUE-3"),
    "grumblewash": ("RIV-1", "RIV-2"),
}
START_DAY = {"GN": 258, "TN": 118, "SN": 205, "NE": 272}
# mean catch per unit of effort of the gears and species that no clarity is planted in
MEANS = {
    "GN": {"northern pike": 1.6, "yellow perch": 11.0, "smallmouth bass": 0.7},
    "TN": {"walleye": 1.4, "northern pike": 2.0, "yellow perch": 6.0, "smallmouth bass": 0.8},
    "SN": {"walleye": 0.006, "northern pike": 0.003, "yellow perch": 0.09, "smallmouth bass": 0.02},
    "NE": {"walleye": 22.0, "northern pike": 4.0, "yellow perch": 18.0, "smallmouth bass": 12.0},
}
MESHES = (38, 51, 64, 76, 102)
FIRST_SURVEY_YEAR = 2008
MEASURED_PER_SET = 12


def gill_net_mean(disc_m: float) -> float:
    """Return the planted mean of walleye per net-night at a growing-season disc depth [m]."""
    return float(PEAK_PER_NIGHT * np.exp(-CURVE * np.log(disc_m / OPTIMUM) ** 2))


def _count(mean: float, rng: np.random.Generator) -> int:
    return int(rng.negative_binomial(THETA, THETA / (THETA + mean))) if mean > 0 else 0


def _ages(n: int, species: str, ages: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    options = np.arange(ages[0], ages[1] + 1)
    weights = GROWTH[species][3] ** options.astype(float)
    return rng.choice(options, size=n, p=weights / weights.sum())


def _length(age: np.ndarray, species: str, month: int, rng: np.random.Generator) -> np.ndarray:
    top, rate, zero, _ = GROWTH[species]
    grown = age + np.clip((month - 5) / 5, 0, 1)
    mean = top * (1 - np.exp(-rate * (grown - zero)))
    return np.maximum(mean * (1 + 0.07 * rng.standard_normal(len(age))), 35.0)


def _fish(
    survey: str,
    species: str,
    n: int,
    ages: tuple[int, int],
    month: int,
    condition: float,
    rng: np.random.Generator,
) -> list[list[object]]:
    """Return n fish: length always; weight mostly, from 100 mm on; age of every third."""
    age = _ages(n, species, ages, rng)
    length = _length(age, species, month, rng)
    a, b = STANDARD[species]
    weight = 10 ** (a + b * np.log10(length)) * condition * np.exp(0.08 * rng.standard_normal(n))
    weighed, aged = rng.random(n) < 0.85, rng.random(n) < 0.33
    return [
        [
            survey,
            species,
            number(float(x), 0),
            number(float(w), 0) if ok and x >= 100 else "",
            str(int(y)) if known else "",
        ]
        for x, w, y, ok, known in zip(length, weight, age, weighed, aged, strict=True)
    ]


def _mesh(length: float, rng: np.random.Generator) -> int:
    """Return the mesh [mm] a fish was held by: larger fish in larger mesh, with some chance."""
    weights = np.exp(-((np.log(length / (np.array(MESHES) * 5.2)) / 0.35) ** 2) / 2) + 1e-6
    return int(rng.choice(MESHES, p=weights / weights.sum()))


class _Book:
    """The three tables while they grow."""

    def __init__(self) -> None:
        self.surveys: Rows = []
        self.catches: Rows = []
        self.fish: Rows = []

    def gill_net(self, survey: str, fish: list[list[object]], species: str, rng: np.random.Generator) -> None:
        held = [_mesh(float(str(f[2])), rng) for f in fish]
        for mesh in sorted(set(held)):
            self.catches.append([survey, species, held.count(mesh), "", mesh])
        for f, mesh in list(zip(fish, held, strict=True))[:MEASURED_PER_SET]:
            self.fish.append([*f, "", mesh])

    def plain(self, survey: str, fish: list[list[object]], species: str, pass_number: object = "") -> None:
        self.catches.append([survey, species, len(fish), pass_number, ""])
        for f in fish[:MEASURED_PER_SET]:
            self.fish.append([*f, pass_number, ""])


def _effort(key: str, rng: np.random.Generator) -> tuple[float, pd.Timedelta]:
    """Return effort in the gear's unit and how long the set lasted."""
    if key in ("GN", "TN"):
        return 1.0, pd.Timedelta(hours=float(rng.integers(18, 25)))
    if key == "SN":
        return float(rng.integers(8, 25) * 15), pd.Timedelta(minutes=25)
    hours = round(float(rng.uniform(0.4, 1.1)), 2)
    return hours, pd.Timedelta(minutes=round(hours * 60) + 20)


def _sets(key: str, water: str, year: int, book: _Book, discs: dict[int, float]) -> None:
    gear, unit, sets, _, ages = GEARS[key]
    rng = stream("fish", key, water, year)
    places = STATIONS[water]
    level = float(np.exp(0.35 * stream("fish level", key, water).standard_normal()))
    for i in range(sets):
        survey = f"{key}-{water[:3].upper()}-{year}-{i + 1}"
        hour = {"GN": 16, "TN": 10, "SN": 11, "NE": 21}[key]
        start = pd.Timestamp(year, 1, 1, hour) + pd.Timedelta(
            days=START_DAY[key] - 1 + int(rng.integers(0, 4)), minutes=10 * int(rng.integers(0, 12))
        )
        effort, duration = _effort(key, rng)
        if start + duration > AS_OF:
            continue
        unknown = rng.random() < 0.03 and key != "GN"
        book.surveys.append(
            [
                survey,
                water,
                places[i % len(places)],
                gear,
                f"{start:%Y-%m-%d %H:%M}",
                f"{start + duration:%Y-%m-%d %H:%M}",
                "" if unknown else f"{effort:g}",
                unit,
                "effort not written down" if unknown else "at night" if key == "NE" else "",
            ]
        )
        for species in SPECIES:
            per_unit = MEANS[key].get(species, 0.0) * level
            if key == "GN" and species == "walleye":
                per_unit = gill_net_mean(discs[year])
            if water == "vellumere" and species == "yellow perch":
                per_unit *= 0.5
            n = _count(per_unit * effort, rng)
            if n == 0:
                continue
            condition = {"vellumere": 0.90, "pindlewick": 1.02, "tannerook": 0.94}.get(water, 0.97)
            fish = _fish(survey, species, n, ages, start.month, condition, rng)
            if key == "GN":
                book.gill_net(survey, fish, species, rng)
            else:
                book.plain(survey, fish, species)


def _removal(year: int, book: _Book) -> None:
    """Fish a closed stretch three times; a pass takes each remaining fish with the same probability."""
    rng = stream("removal", year)
    survey = f"BP-GRU-{year}-1"
    start = pd.Timestamp(year, 8, int(rng.integers(3, 20)), 9, 30)
    book.surveys.append(
        [
            survey,
            "grumblewash",
            "RIV-2",
            "backpack electrofishing",
            f"{start:%Y-%m-%d %H:%M}",
            f"{start + pd.Timedelta(hours=4):%Y-%m-%d %H:%M}",
            "3",
            "pass",
            "closed stretch of 100 m",
        ]
    )
    for species, p in CAPTURE.items():
        left = int(rng.poisson({"walleye": 40, "smallmouth bass": 85, "northern pike": 14}[species]))
        for k in range(1, PASSES + 1):
            caught = int(rng.binomial(left, p))
            left -= caught
            if caught:
                fish = _fish(survey, species, caught, (0, 4), 8, 0.96, rng)
                book.plain(survey, fish, species, k)


def make() -> dict[str, tuple[list[str], Rows]]:
    """Return header and rows of surveys.csv, catches.csv and fish.csv."""
    book = _Book()
    for key, (_, _, _, waters, _) in GEARS.items():
        for water in waters:
            discs = growing_season_disc(water) if water != "grumblewash" else {}
            for year in range(FIRST_SURVEY_YEAR, AS_OF.year + 1):
                _sets(key, water, year, book, discs)
    for year in range(2011, AS_OF.year + 1):
        _removal(year, book)
    return {
        "surveys.csv": (
            ["survey", "water", "station", "gear", "start", "end", "effort", "effort_unit", "note"],
            book.surveys,
        ),
        "catches.csv": (["survey", "species", "count", "pass_number", "mesh_mm"], book.catches),
        "fish.csv": (
            ["survey", "species", "length_mm", "weight_g", "age_years", "pass_number", "mesh_mm"],
            book.fish,
        ),
    }


def planted() -> tuple[list[str], Rows]:
    """Return header and rows of planted_fish.csv."""
    header = ["water", "gear", "species", "quantity", "value", "unit", "note"]
    rows: Rows = [
        [
            "all",
            "gill net",
            "walleye",
            "optimum disc depth",
            OPTIMUM,
            "m",
            "growing-season mean of the water",
        ],
        [
            "all",
            "gill net",
            "walleye",
            "curvature",
            CURVE,
            "1",
            "log mean falls by this times ln(disc/optimum)^2",
        ],
        ["all", "gill net", "walleye", "mean at the optimum", PEAK_PER_NIGHT, "fish per net-night", ""],
        [
            "all",
            "all but backpack electrofishing",
            "all",
            "negative binomial size",
            THETA,
            "1",
            "variance = mean + mean^2 / size",
        ],
    ]
    rows += [
        ["grumblewash", "backpack electrofishing", s, "capture probability per pass", p, "1", "three passes"]
        for s, p in CAPTURE.items()
    ]
    return header, rows
