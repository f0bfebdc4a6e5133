"""Files built to hurt: each is refused with a clear word, and this process lives on."""

from __future__ import annotations

import io
import json
import struct
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest

from fathomlight.errors import FathomlightError, UnreadableFileError, UnsafeFileError
from fathomlight.ingest import ReadLimits, iter_chunks, propose_recipe, read_file
from fathomlight.ingest.safety import check_workbook, empty_formulas

WORKER = Path(__file__).with_name("fuzz_worker.py")


@pytest.fixture
def attempt(parameters, stations, now, make_recipe):
    def do(path, **limits):
        return read_file(
            path,
            make_recipe(),
            parameters=parameters,
            stations=stations,
            now=now,
            limits=ReadLimits(**limits),
        )

    return do


def sparse_book(path):
    book = openpyxl.Workbook()
    book.active["A1"] = "Site"
    book.active["XFD1048576"] = 1
    book.save(path)
    return path


def zipped(path, **parts):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name.replace("__", "/").replace("_xml", ".xml"), data)
    return path


def test_one_cell_in_the_last_row_and_column(tmp_path, attempt):
    path = sparse_book(tmp_path / "small.xlsx")
    assert path.stat().st_size < 10_000
    with pytest.raises(UnsafeFileError, match=r"1,048,576 rows times 16,384 columns"):
        attempt(path)


def test_the_same_with_the_first_guard_off_kills_only_the_child(tmp_path, attempt):
    path = sparse_book(tmp_path / "small.xlsx")
    with pytest.raises(UnsafeFileError, match="given up"):
        attempt(path, max_cells=10**12, memory_bytes=300 << 20)


def test_a_part_packed_too_tightly(tmp_path, attempt):
    path = zipped(tmp_path / "bomb.xlsx", xl__worksheets__sheet1_xml=b"0" * (64 << 20))
    assert path.stat().st_size < 100_000
    with pytest.raises(UnsafeFileError, match="packed too tightly"):
        attempt(path)


def test_too_large_when_unpacked(tmp_path):
    path = zipped(
        tmp_path / "big.xlsx", **{f"xl__worksheets__sheet{i}_xml": b"<x/>" * 200_000 for i in range(4)}
    )
    with pytest.raises(UnsafeFileError, match="too large when unpacked"):
        check_workbook(path, ReadLimits(max_unpacked_bytes=1 << 20, max_ratio=1e9))


def test_a_size_that_lies(tmp_path, attempt):
    path = zipped(tmp_path / "liar.xlsx", xl__worksheets__sheet1_xml=b"0" * (8 << 20))
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02")
    data[at + 24 : at + 28] = struct.pack("<I", 100)  # declared size in the central directory
    path.write_bytes(data)
    with pytest.raises(UnreadableFileError):
        attempt(path)


def test_too_many_parts(tmp_path):
    path = zipped(tmp_path / "parts.xlsx", **{f"p{i}": b"" for i in range(50)})
    with pytest.raises(UnsafeFileError, match="too many parts"):
        check_workbook(path, ReadLimits(max_parts=40))


@pytest.mark.parametrize("name", ["../evil.xml", "/etc/evil.xml", "..\\evil.xml", "C:/evil.xml"])
def test_names_that_lead_out(tmp_path, name):
    path = tmp_path / "names.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, b"x")
    with pytest.raises(UnsafeFileError, match="leads out"):
        check_workbook(path, ReadLimits())
    assert not (tmp_path.parent / "evil.xml").exists()


def test_password(tmp_path):
    path = zipped(tmp_path / "locked.xlsx", a=b"x")
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02")
    data[at + 8] |= 1
    path.write_bytes(data)
    with pytest.raises(UnreadableFileError, match="password"):
        check_workbook(path, ReadLimits())


def test_too_large_a_file_is_refused_unread(tmp_path, attempt):
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(201 << 20)
    begin = time.monotonic()
    with pytest.raises(UnsafeFileError, match="201 MB"):
        attempt(path)
    assert time.monotonic() - begin < 30


def test_time_limit(tmp_path, attempt):
    path = tmp_path / "slow.csv"
    path.write_text("Site,Date,Secchi\n" + "H-2,7/1/2019,2\n" * 400_000)
    with pytest.raises(UnsafeFileError, match=r"more than 0.05 s"):
        attempt(path, seconds=0.05)


def test_the_time_that_the_caller_takes_does_not_count(tmp_path, parameters, stations, now, make_recipe):
    path = tmp_path / "long.csv"
    path.write_text("Site,Date,Secchi\n" + "".join(f"H-2,7/{i % 28 + 1}/2019,2\n" for i in range(600_000)))
    settings = {"parameters": parameters, "stations": stations, "now": now, "limits": ReadLimits(seconds=60)}
    pieces = iter_chunks(path, make_recipe(), **settings)
    next(pieces)
    from fathomlight.ingest import isolated

    before = isolated.time.monotonic
    try:
        isolated.time.monotonic = lambda: before() + 3600  # the caller was busy for an hour
        rows = sum(p.counts.get("rows", 0) for p in pieces)
    finally:
        isolated.time.monotonic = before
    assert rows > 200_000


def test_memory_limit(tmp_path, attempt):
    path = tmp_path / "fat.csv"
    path.write_text('Site,Date,Secchi\n"' + "x" * (60 << 20) + '",7/1/2019,2\n')
    with pytest.raises(UnreadableFileError):
        attempt(path, memory_bytes=40 << 20)


def test_missing_folder_and_device(tmp_path, attempt):
    for path in (tmp_path / "none.csv", tmp_path, Path("/dev/zero"), tmp_path / "nul\x00.csv"):
        with pytest.raises(UnreadableFileError):
            attempt(path)


def test_archives_and_pictures_are_not_tables(tmp_path, attempt):
    packed = zipped(tmp_path / "data.zip", a=b"Site,Date,Secchi")
    with pytest.raises(UnreadableFileError, match="packed"):
        attempt(packed)
    picture = tmp_path / "photo.csv"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20)
    with pytest.raises(UnreadableFileError, match="not a text file"):
        attempt(picture)


def test_a_document_type_in_a_workbook_is_not_expanded(tmp_path, attempt):
    book = openpyxl.Workbook()
    book.active.append(["Site", "Date", "=1+1"])
    stream = io.BytesIO()
    book.save(stream)
    laughs = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    path = tmp_path / "entities.xlsx"
    with zipfile.ZipFile(stream) as old, zipfile.ZipFile(path, "w") as new:
        for part in old.infolist():
            data = old.read(part)
            new.writestr(part.filename, laughs + data if part.filename == "xl/workbook.xml" else data)
    with pytest.raises(FathomlightError):
        attempt(path)


def test_formulas_are_found_without_being_run(tmp_path):
    book = openpyxl.Workbook()
    book.active["B3"] = '=HYPERLINK("http://127.0.0.1/","x")'
    path = tmp_path / "f.xlsx"
    book.save(path)
    assert list(empty_formulas(path).values()) == [
        {(3, 2): '=HYPERLINK("http://127.0.0.1/","x")'.replace('"', '"')}
    ]


def test_child_and_parent_give_the_same(tmp_path, parameters, stations, now, make_recipe):
    path = tmp_path / "a.csv"
    path.write_text("Site,Date,Secchi,Mood\nH-2,7/1/2019,2,\nH-2,7/2/2019,murky,\nH-2,7/1/2019,3,\n")
    settings = {"parameters": parameters, "stations": stations, "now": now}
    child = read_file(path, make_recipe(), **settings)
    here = read_file(path, make_recipe(), **settings, limits=ReadLimits(isolate="never"))
    assert child.to_dict() == here.to_dict()
    assert child.frame.dtypes.to_dict() == here.frame.dtypes.to_dict()
    with pytest.raises(UnreadableFileError) as caught:
        propose_recipe(tmp_path / "none.csv", parameters, stations)
    assert caught.value.what == "the file cannot be opened"


def run_fuzz(count, seed, tmp_path):
    """Read so many damaged files in worker processes; start again behind a file that killed one."""
    done, deaths, outcomes = 0, [], {}
    while done < count:
        out = tmp_path / f"fuzz-{done}.jsonl"
        with out.open("wb") as stream:
            code = subprocess.run(
                [sys.executable, str(WORKER), str(seed), str(done), str(count), str(tmp_path)],
                stdout=stream, stderr=subprocess.STDOUT, timeout=1800, check=False,
            ).returncode  # fmt: skip
        lines = [json.loads(x) for x in out.read_text().splitlines() if x.startswith("{")]
        for line in lines:
            outcomes[line["outcome"]] = outcomes.get(line["outcome"], 0) + 1
            assert line["outcome"] != "escaped", line
        done += len(lines)
        if code != 0:
            deaths.append(done)
            done += 1
    return outcomes, deaths


def test_three_hundred_damaged_files(tmp_path):
    outcomes, deaths = run_fuzz(300, 1, tmp_path)
    assert sum(outcomes.values()) + len(deaths) == 300
    assert outcomes["refused"] > 30
    assert outcomes["read"] > 60
    assert len(deaths) <= 3


@pytest.mark.slow
def test_ten_thousand_damaged_files(tmp_path):
    outcomes, deaths = run_fuzz(10_000, 2, tmp_path)
    print(outcomes, "processes that died:", len(deaths))
    assert sum(outcomes.values()) + len(deaths) == 10_000
    assert len(deaths) <= 100
