"""Text files with separated columns, read in pieces: any encoding, banners, unit rows, footers.

A piece whose rows all have as many cells as the header is split by Arrow; any other piece by Python's
``csv``, which costs more but lets short rows (footnotes) through and refuses long ones one by one. Line
numbers are those of a text editor, also below cells that hold line breaks.
"""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from fathomlight.errors import RecipeError, UnreadableFileError
from fathomlight.ingest.raw import RawTable, Spoiled
from fathomlight.ingest.recipe import FilePart, Recipe
from fathomlight.ingest.text import (
    detect_encoding,
    find_header,
    preamble_labels,
    read_head,
    sniff_delimiter,
    split_carefully,
    split_records,
    undecodable,
)

__all__ = ["CsvSource"]

BLOCK = 4 << 20


@dataclass
class CsvSource:
    """A text file with separated columns.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    recipe : Recipe
        How it is read.
    """

    path: Path
    recipe: Recipe
    progress: Callable[[int, int], None] | None = None
    name: str = ""
    warnings: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.name = self.name or self.path.name
        part: FilePart = self.recipe.file
        self.checked = part.encoding == "auto"
        self.encoding = detect_encoding(self.path) if self.checked else _known(part.encoding)
        head = read_head(self.path, self.encoding, self.name)
        self.old_mac = "\r" in head and "\n" not in head
        self.delimiter = part.delimiter if part.delimiter != "auto" else sniff_delimiter(head)
        self.delimiter = "\t" if self.delimiter in ("\\t", "tab") else self.delimiter
        if len(self.delimiter) != 1:
            raise RecipeError(
                "the delimiter is one sign",
                where="file.delimiter",
                got=self.delimiter,
                expected=", ; tab or |",
            )
        records = list(
            split_records(head.replace("\r", "\n") if self.old_mac else head, self.delimiter, limit=2000)
        )
        self.header, self.header_last = find_header(records, self.recipe, self.name)
        if part.unit_row is None:
            self.units: dict[str, str] = {}
        else:
            row = next((r.cells for r in records if r.first == part.unit_row), [])
            self.units = {h: u.strip() for h, u in zip(self.header, row, strict=False) if u.strip()}
        first_header = next(r.first for r in records if r.last == self.header_last)
        self.preamble = preamble_labels(records, first_header)
        self.data_line = max(self.header_last, part.unit_row or 0) + 1

    def chunks(self) -> Iterator[RawTable]:
        """Give the file piece by piece, some 4 MB each."""
        line, ended = self.data_line, False
        blocks = self._blocks()
        block = next(blocks, b"")
        while block and not ended:
            following = next(blocks, b"")
            table, lines = self._parse(block, line)
            ended = self._trim(table, last=not following)
            line += lines
            yield table
            block = following

    def _blocks(self) -> Iterator[bytes]:
        """Give UTF-8 bytes from the first data line on, cut between rows."""
        stream = _Utf8(self.path, self.encoding, self.old_mac, self.checked, self.progress, self.name)
        skip, carry = self.data_line - 1, b""
        for piece in stream:
            while skip and piece:
                position = piece.find(b"\n")
                piece = b"" if position < 0 else piece[position + 1 :]
                skip -= position >= 0
            if not piece:
                continue
            if carry:
                # a quotation mark that is never closed must not hold the rest of the file back
                cut = _cut(carry) or (carry.rfind(b"\n") + 1 if len(carry) > 4 * BLOCK else 0)
                if cut:
                    yield carry[:cut]
                    carry = carry[cut:]
                elif len(carry) > 16 * BLOCK:
                    raise UnreadableFileError(
                        "a line is longer than any row of a table",
                        where=self.name,
                        got=f"{len(carry) / 2**20:,.0f} MB without a line end",
                        fix="Check that this is a table of readings.",
                    )
            carry += piece
        if carry:
            yield carry

    def _parse(self, block: bytes, line: int) -> tuple[RawTable, int]:
        """Split a piece into cells; return it with the number of lines it spans."""
        lines = block.count(b"\n") + (not block.endswith(b"\n"))
        table = None if b"\x00" in block else self._fast(block, line)
        return table or self._slow(block.decode("utf-8", "replace"), line), lines

    def _fast(self, block: bytes, line: int) -> RawTable | None:
        quoted = b'"' in block
        odd: list[int] = []

        def uneven(_: object) -> str:
            odd.append(1)
            return "skip"

        try:
            data = pacsv.read_csv(
                pa.BufferReader(block),
                read_options=pacsv.ReadOptions(
                    use_threads=False,
                    block_size=len(block) + 1,
                    column_names=[str(i) for i in range(len(self.header))],
                ),
                parse_options=pacsv.ParseOptions(
                    delimiter=self.delimiter,
                    newlines_in_values=quoted,
                    ignore_empty_lines=False,
                    invalid_row_handler=uneven,
                ),
                convert_options=pacsv.ConvertOptions(
                    column_types={str(i): pa.string() for i in range(len(self.header))},
                    strings_can_be_null=False,
                    null_values=[],
                ),
            )
        except pa.ArrowInvalid:
            return None
        if odd:
            return None
        columns = [c.combine_chunks() if c.num_chunks != 1 else c.chunk(0) for c in data.columns]
        rows = data.num_rows
        numbers = line + np.arange(rows, dtype=np.int64)
        if quoted:
            breaks = np.zeros(rows, dtype=np.int64)
            for column in columns:
                breaks += pc.count_substring(column, "\n").to_numpy(zero_copy_only=False)
            numbers[1:] += np.cumsum(breaks)[:-1]
            if breaks.any() and self._may_swallow(columns):
                return None
        return RawTable(self.name, self.header, columns, numbers, self.units, self.preamble)

    def _may_swallow(self, columns: list[pa.Array]) -> bool:
        """Say whether a cell of several lines holds what may be rows."""
        for column in columns:
            many = pc.and_(
                pc.match_substring(column, "\n"),
                pc.greater_equal(pc.count_substring(column, self.delimiter), len(self.header) - 1),
            )
            if pc.any(many).as_py():
                return True
        return False

    def _slow(self, text: str, line: int) -> RawTable:
        width = len(self.header)
        kept: list[list[str]] = []
        numbers: list[int] = []
        spoiled: list[Spoiled] = []
        for record, stray in split_carefully(text, self.delimiter, width, line):
            cells = record.cells
            if stray:
                spoiled.append(
                    Spoiled(
                        record.first,
                        cells[0],
                        "a quotation mark is opened and never closed",
                        "Remove it, or write it twice inside a quoted cell.",
                    )
                )
                continue
            if not any(cells):
                continue
            if len(cells) > width and any(c.strip() for c in cells[width:]):
                spoiled.append(
                    Spoiled(
                        record.first,
                        self.delimiter.join(cells),
                        f"the row has {len(cells)} cells, the header {width}",
                        "Put quotation marks around a cell that holds the separator (a decimal comma?), "
                        "or remove the surplus cell.",
                    )
                )
                continue
            kept.append((cells + [""] * width)[:width])
            numbers.append(record.first)
        columns = [pa.array(list(c), pa.string()) for c in zip(*kept, strict=True)] if kept else []
        columns = columns or [pa.array([], pa.string()) for _ in self.header]
        table = RawTable(
            self.name, self.header, columns, np.array(numbers, dtype=np.int64), self.units, self.preamble
        )
        table.spoiled = spoiled
        return table

    def _trim(self, table: RawTable, *, last: bool) -> bool:
        """Take comments, skipped lines and the footer off; return True when the footer has begun."""
        part = self.recipe.file
        keep = np.ones(len(table), dtype=bool)
        ended = False
        if part.skip_rows:
            keep &= ~np.isin(table.line, part.skip_rows)
            table.spoiled = [s for s in table.spoiled if s.line not in part.skip_rows]
        if part.comment and len(table):
            keep &= ~pc.starts_with(table.columns[0], part.comment).to_numpy(zero_copy_only=False)
            table.spoiled = [s for s in table.spoiled if not s.text.startswith(part.comment)]
        for start in part.footer_starts:
            hits = np.flatnonzero(pc.starts_with(table.columns[0], start).to_numpy(zero_copy_only=False))
            if len(hits):
                first = table.line[hits[0]]
                keep &= table.line < first
                table.spoiled = [s for s in table.spoiled if s.line < first]
                ended = True
        if last and part.footer_rows:
            lines = np.sort(np.concatenate([table.line[keep], [s.line for s in table.spoiled]]))
            footer = set(lines[-part.footer_rows :].astype(int).tolist())
            keep &= ~np.isin(table.line, list(footer))
            table.spoiled = [s for s in table.spoiled if s.line not in footer]
        if not keep.all():
            table.left_out = int((~keep).sum())
            mask = pa.array(keep)
            table.columns = [c.filter(mask) for c in table.columns]
            table.line = table.line[keep]
        return ended


def _known(encoding: str) -> str:
    try:
        name = codecs.lookup(encoding).name
        return "utf-8-sig" if name == "utf-8" else name
    except LookupError:
        raise RecipeError(
            "unknown encoding",
            where="file.encoding",
            got=encoding,
            expected="auto, utf-8, windows-1252, utf-16 ...",
        ) from None


def _cut(data: bytes) -> int:
    """Position behind the last line end that lies outside quotation marks; 0 when there is none."""
    end = data.rfind(b"\n")
    if end < 0 or b'"' not in data:
        return end + 1
    quotes = data.count(b'"', 0, end)
    while quotes % 2 and end >= 0:
        before = data.rfind(b"\n", 0, end)
        quotes -= data.count(b'"', max(before, 0), end)
        end = before
    return end + 1


@dataclass
class _Utf8:
    """The file as pieces of UTF-8, without byte order mark."""

    path: Path
    encoding: str
    old_mac: bool
    checked: bool
    progress: Callable[[int, int], None] | None
    name: str

    def __iter__(self) -> Iterator[bytes]:
        size, done = self.path.stat().st_size, 0
        same = self.checked and self.encoding == "utf-8"
        decoder = codecs.getincrementaldecoder(self.encoding)()
        with self.path.open("rb") as file:
            while piece := file.read(BLOCK):
                done += len(piece)
                if not same:
                    try:
                        piece = decoder.decode(piece, final=done >= size).encode("utf-8", "replace")
                    except UnicodeError as error:
                        raise undecodable(self.name, self.encoding, error) from None
                if self.old_mac:
                    piece = piece.replace(b"\r", b"\n")
                if self.progress:
                    self.progress(done, size)
                yield piece
