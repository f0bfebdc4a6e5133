"""Read damaged files one after another and print what became of each; run by test_safety.py in a process of its own.

fuzz_worker.py SEED FIRST COUNT FOLDER
"""

from __future__ import annotations

import datetime as dt
import io
import json
import random
import resource
import sys
import traceback
import warnings
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import xarray as xr

from fathomlight.errors import FathomlightError
from fathomlight.ingest import ReadLimits, Recipe, load_recipes, propose_recipe, read_file
from fathomlight.model import Parameter, Station

PARAMETERS = {
    p.name: p
    for p in (
        Parameter("secchi", "Disc depth", "m"),
        Parameter("temperature", "Temperature", "degC", positive=False, profile=True),
        Parameter("chlorophyll", "Chlorophyll a", "ug/L"),
    )
}
STATIONS = [Station(f"H-{i}", f"Heron {i}", "heron", 46, -99, "America/Chicago", 10.0) for i in range(4)]
NOW = dt.datetime(2025, 8, 1)
RECIPE = Recipe.model_validate({
    "name": "fuzz", "repeats": "replicates", "station": {"column": "Site"},
    "time": {"column": "Date", "formats": ["%m/%d/%Y", "%d-%b-%y", "excel"], "time_column": "Time"},
    "depth": {"column": "Depth"},
    "values": [
        {"column": "Secchi", "parameter": "secchi", "unit": "ft", "qualifier_column": "Q", "on_bottom_codes": ["B"]},
        {"column": "Temp (degF)", "parameter": "temperature"},
        {"column": "Chl", "parameter": "chlorophyll", "unit": "ug/L"},
    ],
})  # fmt: skip
HEADER = ["Site", "Date", "Time", "Depth", "Secchi", "Q", "Temp (degF)", "Chl", "Remark"]
CELLS = [
    "", "NA", "-99", "<0.5", ">3", "1e308", "-1e-308", "1e999", "=cmd|' /C calc'!A0", "+1", "@SUM(A1)", "9" * 400,
    "nan", "99999999999", "0", "2,5", "2.5 m", "5'6\"", "B", "\t", "\x00", "\ufeff", "é", "\U0001f41f", "00:00",
    "24:00", "930", "31/12/9999", "1/1/0001", "2/30/2019", "0000-00-00", "9999-12-31T23:59:59Z", "2019-07-24T99:99Z",
    "-2147483648", "2262-04-12", "1677-01-01", "1e5", "٣", "２", "½", "H-1\nH-2", '"', "''", "Infinity", "True",
    "2019-W30", "12/30/1899",
]  # fmt: skip


def table(rng):
    rows = [list(HEADER)]
    for _ in range(rng.randint(0, 12)):
        date = f"{rng.randint(1, 12)}/{rng.randint(1, 28)}/{rng.randint(1990, 2024)}"
        clock = f"{rng.randint(0, 23)}:{rng.randint(0, 59):02d}"
        numbers = [round(rng.uniform(a, b), 1) for a, b in ((0, 30), (32, 90), (0, 50))]
        rows.append([f"H-{rng.randint(0, 4)}", date, clock, rng.randint(0, 9), numbers[0], rng.choice(["", "B"]),
                     numbers[1], numbers[2], "x"])  # fmt: skip
    for _ in range(rng.randint(0, 12)):
        row = rng.choice(rows[1:] or rows)
        row[rng.randrange(len(row))] = rng.choice(CELLS)
    return rows


def text_file(rng):
    delimiter = rng.choice([",", ";", "\t"])
    quote = lambda c: '"' + str(c).replace('"', '""') + '"' if rng.random() < 0.2 else str(c)  # noqa: E731
    text = rng.choice(["\n", "\r\n", "\r"]).join(delimiter.join(quote(c) for c in row) for row in table(rng))
    return text.encode(rng.choice(["utf-8", "utf-8-sig", "utf-16", "latin-1"]), "replace"), ".csv"


def workbook(rng):
    book = openpyxl.Workbook()
    for row in table(rng):
        book.active.append([c if not isinstance(c, str) or "\x00" not in c else "" for c in row])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue(), ".xlsx"


def netcdf(rng):
    n = rng.randint(1, 6)
    data = xr.Dataset(
        {"secchi": (("time",), np.full(n, 2.0), {"units": rng.choice(["m", "ft", "", "?"]),
                                                 "standard_name": "secchi_depth_of_sea_water"})},
        coords={"time": ("time", pd.date_range("2019-07-01", periods=n), {"standard_name": "time"})},
        attrs={"station": "H-1"},
    )  # fmt: skip
    return bytes(data.to_netcdf(engine="scipy", format="NETCDF3_CLASSIC")), ".nc"


def damage(rng, data):
    data = bytearray(data)
    for _ in range(rng.choice([0, 0, 0, 1, 1, 2, 5, 30])):
        if not data:
            break
        at = rng.randrange(len(data))
        kind = rng.randrange(6)
        if kind == 0:
            data[at] = rng.randrange(256)
        elif kind == 1:
            del data[at : at + rng.randint(1, 40)]
        elif kind == 2:
            data[at:at] = rng.choice(
                [b'"', b"\n", b",", b"\x00", b"\xff\xfe", b"\r", b"'", b"<", b"PK\x03\x04"]
            )
        elif kind == 3:
            data[at:at] = data[at : at + rng.randint(1, 200)]
        elif kind == 4:
            data[at : at + 4] = rng.randbytes(4)
        else:
            data = data[: max(at, 1)]
    return bytes(data)


def make(seed, number):
    rng = random.Random(f"{seed}-{number}")
    choice = rng.random()
    if choice < 0.06:
        return rng.randbytes(rng.randint(0, 3000)), rng.choice([".csv", ".xlsx", ".nc", ".xls", ".ods", ""])
    made, suffix = (text_file if choice < 0.6 else workbook if choice < 0.92 else netcdf)(rng)
    return damage(rng, made), suffix


def main():
    seed, first, count, folder = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4])
    resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))
    warnings.simplefilter("ignore")
    recipes = load_recipes(Path(__file__).parents[3] / "config" / "recipes")
    limits = ReadLimits(isolate="never")
    settings = {"parameters": PARAMETERS, "stations": STATIONS, "now": NOW, "limits": limits}
    for number in range(first, count):
        data, suffix = make(seed, number)
        path = folder / f"fuzz{suffix}"
        path.write_bytes(data)
        answer = {"number": number, "outcome": "read"}
        try:
            for step in ("read", "propose"):
                try:
                    if step == "read":
                        recipe = recipes["cf-netcdf"] if suffix == ".nc" else RECIPE
                        read_file(path, recipe, **settings)
                    else:
                        propose_recipe(path, PARAMETERS, STATIONS, limits=limits, now=NOW)
                except FathomlightError:
                    if step == "read":
                        answer["outcome"] = "refused"
        except Exception:
            answer |= {"outcome": "escaped", "suffix": suffix, "trace": traceback.format_exc()[-1500:]}
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
