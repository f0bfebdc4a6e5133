"""Write the invented demo waters: every file of data/ but this script and README.md.

Everything is invented and seeded: the same files, byte for byte, on every run. Run it from anywhere::

    python data/make_demo.py                 # writes into data/
    python data/make_demo.py --out FOLDER    # writes elsewhere, to compare

Station places and depths are read from config/.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from maker import columns, fish, lab, logger, mistakes, places, planted, sheets, visits
from maker.base import table_text

HERE = Path(__file__).resolve().parent
VOLUNTEER_BANNER = ["Invented demo data: clarity cards of volunteers. No real place or person.,,,,,"]


def readings() -> dict[str, bytes]:
    """Return the files of readings, profiles, laboratory and logger."""
    seen = visits.visits()
    profiles, profiled = columns.crew(seen)
    profiled |= {(v.station, v.time) for v in columns.line_visits(seen)}
    crew, cards = sheets.crew(seen, profiled), sheets.volunteers(seen, profiled)
    both = {**crew, **cards}
    fixed = mistakes.corrections(both)
    log = mistakes.plant(both, lambda name: 3 if name in cards else 2)
    texts = {f"readings/{n}": table_text(sheets.CREW, crew[n]) for n, _, _ in sheets.CREW_FILES}
    texts |= {f"readings/{n}": table_text(sheets.CREW_LONG, crew[n]) for n, _, _ in sheets.CREW_LONG_FILES}
    texts["readings/corrections_2023.csv"] = table_text(sheets.CREW_LONG, fixed)
    texts |= {f"profiles/{n}": table_text(columns.CREW_HEADER, rows) for n, rows in profiles.items()}
    texts["profiles/profiles_island_narrows.csv"] = table_text(
        columns.VOLUNTEER_HEADER, columns.volunteers(seen)
    )
    texts["profiles/light_2025.csv"] = table_text(columns.LIGHT_HEADER, columns.light(seen))
    texts |= {f"lab/{n}": table_text(lab.HEADER, rows) for n, rows in lab.rows(seen).items()}
    texts["logger/old_ferry_2025.csv"] = table_text(logger.HEADER, logger.rows(), logger.BANNER)
    texts["hold_back/good_week.csv"] = table_text(sheets.CREW, mistakes.GOOD_WEEK)
    texts["hold_back/bad_week.csv"] = table_text(sheets.CREW, mistakes.BAD_WEEK)
    texts["mistakes.csv"] = table_text(mistakes.HEADER, log)
    out = {name: text.encode() for name, text in texts.items()}
    for name, rows in cards.items():  # volunteers' spreadsheets still come in the old Windows encoding
        text = table_text(sheets.VOLUNTEER, rows, VOLUNTEER_BANNER)
        out[f"readings/{name}"] = text.replace("\n", "\r\n").encode("cp1252")
    return out


def make() -> dict[str, bytes]:
    """Return every file by its name below data/."""
    out = {name: text.encode() for name, text in places.make().items()}
    out |= readings()
    out |= {f"surveys/{n}": table_text(head, rows).encode() for n, (head, rows) in fish.make().items()}
    out["planted.csv"] = table_text(*planted.slopes_and_steps()).encode()
    out["planted_fish.csv"] = table_text(*fish.planted()).encode()
    return dict(sorted(out.items()))


def main() -> None:
    """Write the files and say how large they are."""
    parser = argparse.ArgumentParser(description="Write the invented demo waters.")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write into (default: data/)")
    folder: Path = parser.parse_args().out
    files = make()
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    total = sum(map(len, files.values()))
    print(f"{len(files)} files, {total / 1e6:.2f} MB, written to {folder}")


if __name__ == "__main__":
    main()
