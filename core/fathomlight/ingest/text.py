"""The beginning of a text table: encoding, separator, rows with their lines, header, labels above it."""

from __future__ import annotations

import codecs
import csv
import io
import itertools
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fathomlight.errors import RecipeError, UnreadableFileError
from fathomlight.ingest.raw import unique_header
from fathomlight.ingest.recipe import Recipe, plain_name

__all__ = [
    "Record",
    "detect_encoding",
    "find_header",
    "preamble_labels",
    "read_head",
    "sniff_delimiter",
    "split_carefully",
    "split_records",
    "undecodable",
    "wanted_names",
]

HEAD = 256 << 10
MAX_STRAYS = 1000
DELIMITERS = (",", ";", "\t", "|")
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True, slots=True)
class Record:
    """One row of cells and the lines it stands on."""

    first: int
    last: int
    cells: list[str]


def detect_encoding(path: Path) -> str:
    """Find the encoding of a text file by reading it once.

    Parameters
    ----------
    path : pathlib.Path
        The file.

    Returns
    -------
    str
        By byte order mark; else UTF-8 when every byte fits; else UTF-16 without mark when every other byte is
        zero; else Windows-1252, and Latin-1 when a byte has no meaning there.

    Raises
    ------
    UnreadableFileError
        The file holds zero bytes, as no text does.
    """
    with path.open("rb") as file:
        head = file.read(4096)
        for mark, name in _BOMS:
            if head.startswith(mark):
                return name
        if b"\x00" in head:
            return _zero_bytes(path.name, head)
        utf8 = codecs.getincrementaldecoder("utf-8")()
        good, undefined = True, False
        block = head
        while block:
            if b"\x00" in block:
                return _zero_bytes(path.name, block)
            try:
                if good:
                    utf8.decode(block)
            except UnicodeDecodeError:
                good = False
            undefined = undefined or any(bytes([b]) in block for b in (0x81, 0x8D, 0x8F, 0x90, 0x9D))
            block = file.read(1 << 20)
    if good:
        try:
            utf8.decode(b"", final=True)
            return "utf-8"
        except UnicodeDecodeError:
            pass
    return "latin-1" if undefined else "cp1252"


def _zero_bytes(name: str, block: bytes) -> str:
    even, odd = block[0::2].count(0), block[1::2].count(0)
    half = max(len(block) // 2, 1)
    if odd > 0.6 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.6 * half and odd < 0.1 * half:
        return "utf-16-be"
    raise UnreadableFileError(
        "this is not a text file",
        where=name,
        got="zero bytes",
        expected="comma-, semicolon- or tab-separated text, or a workbook named .xlsx",
        fix="Export it as CSV (UTF-8) or XLSX and load that.",
    )


def sniff_delimiter(text: str) -> str:
    r"""Find the sign between the columns from the first lines.

    Parameters
    ----------
    text : str
        The beginning of a file.

    Returns
    -------
    str
        Comma, semicolon, tab or bar: the one that gives most lines the same number of cells, above one.

    Examples
    --------
    >>> sniff_delimiter("a;b\n1,5;2\n1,7;3\n"), sniff_delimiter("a\tb\n1\t2\n")
    (';', '\t')
    """
    best, best_score = ",", 0.0
    for delimiter in DELIMITERS:
        counts = Counter(len(r.cells) for r in split_records(text, delimiter, limit=200) if any(r.cells))
        common = max(((n, width) for width, n in counts.items() if width > 1), default=(0, 1))
        score = common[0] / max(sum(counts.values()), 1) + min(common[1], 50) / 1000
        if common[0] and score > best_score:
            best, best_score = delimiter, score
    return best


def split_records(text: str, delimiter: str, first: int = 1, limit: int | None = None) -> Iterator[Record]:
    """Split text into rows with their lines.

    Raises
    ------
    UnreadableFileError
        A quotation mark is opened and never closed.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    last = 0
    while limit is None or limit > 0:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            if limit is not None and last:  # only the beginning is wanted
                return
            raise UnreadableFileError(
                "the text cannot be split into cells",
                where=f"line {first + reader.line_num}",
                got=str(error),
                fix="Look for a quotation mark that is opened and never closed.",
            ) from None
        yield Record(first + last, first + reader.line_num - 1, cells)
        last = reader.line_num
        limit = None if limit is None else limit - 1


def split_carefully(text: str, delimiter: str, width: int, first: int) -> Iterator[tuple[Record, bool]]:
    """Split text into rows, and not let one stray quotation mark swallow the rows below it.

    A row whose cell holds lines that look like rows, and which is not well quoted, is given as its first line only,
    and reading goes on with the line below.

    Parameters
    ----------
    text : str
        Rows.
    delimiter : str
        Sign between cells.
    width : int
        Cells of the header.
    first : int
        Line on which the text begins.

    Yields
    ------
    record : Record
        One row.
    stray : bool
        True for a row that holds a stray quotation mark; its cells are then the line as it stands.

    Raises
    ------
    UnreadableFileError
        More than a thousand such rows.
    """
    lines = list(io.StringIO(text, newline=""))
    begin = strays = 0
    while begin < len(lines):
        reader = csv.reader(itertools.islice(lines, begin, None), delimiter=delimiter)
        last = 0
        while True:
            try:
                cells = next(reader)
                bad = _swallows(cells, lines[begin + last : begin + reader.line_num], delimiter, width)
            except StopIteration:
                return
            except csv.Error:
                cells, bad = [], True
            if bad:
                break
            yield Record(first + begin + last, first + begin + reader.line_num - 1, cells), False
            last = reader.line_num
        strays += 1
        if strays > MAX_STRAYS:
            raise UnreadableFileError(
                "too many quotation marks are opened and never closed", where=f"line {first + begin + last}",
                fix="Remove them, or write each twice inside a quoted cell.",
            )  # fmt: skip
        yield Record(first + begin + last, first + begin + last, [lines[begin + last].rstrip("\r\n")]), True
        begin += last + 1


def _swallows(cells: list[str], lines: list[str], delimiter: str, width: int) -> bool:
    if len(lines) < 2 or width < 2:
        return False
    if not any(part.count(delimiter) >= width - 1 for cell in cells for part in cell.splitlines()[1:]):
        return False
    try:
        list(csv.reader(lines, delimiter=delimiter, strict=True))
    except csv.Error:
        return True
    return False


def wanted_names(recipe: Recipe) -> set[str]:
    """Return the plain names of every column a recipe speaks of."""
    names: set[str] = set()
    parts = [recipe.station, recipe.time, recipe.depth, recipe.fields, *recipe.values]
    for part in parts:
        for key in type(part).model_fields:
            value = getattr(part, key)
            if (
                key in ("column", "columns")
                or key.endswith("_column")
                or (part is recipe.fields and isinstance(value, tuple))
            ):
                names.update(plain_name(n) for n in value)
    return names - {""}


def find_header(records: list[Record], recipe: Recipe, name: str) -> tuple[tuple[str, ...], int]:
    """Find the header.

    Parameters
    ----------
    records : list of Record
        The first rows.
    recipe : Recipe
        ``file.header_rows``, else ``file.header_contains``, else the row that holds most columns of the
        recipe, else the first row that is not blank.
    name : str
        File, for messages.

    Returns
    -------
    cells : tuple of str
        Header cells; those of several rows joined with a blank.
    last : int
        Last line of the header (the unit row counts when it follows).

    Raises
    ------
    UnreadableFileError, RecipeError
        The file is empty, or no row is the header that the recipe declares.
    """
    filled = [r for r in records if any(c.strip() for c in r.cells)]
    if not filled:
        raise UnreadableFileError(
            "the file is empty", where=name, fix="Check that the right file was chosen."
        )
    part = recipe.file
    if part.header_rows:
        rows = [r for r in records if r.first in part.header_rows]
        if len(rows) < len(part.header_rows):
            raise RecipeError(
                "the file has no such header rows",
                where=name,
                got=f"{len(records)} rows",
                expected=part.header_rows,
            )
    elif part.header_contains:
        wanted = {plain_name(n) for n in part.header_contains}
        rows = [r for r in filled if wanted <= {plain_name(c) for c in r.cells}][:1]
        if not rows:
            raise RecipeError(
                f"recipe {recipe.name!r} does not fit: no line holds its header cells",
                where=name,
                got="first line " + ", ".join(filled[0].cells[:12]),
                expected=", ".join(part.header_contains),
                fix="Choose another recipe, or change file.header_contains.",
            )
    else:
        wanted = wanted_names(recipe)
        best = max(filled[:200], key=lambda r: (len(wanted & {plain_name(c) for c in r.cells}), -r.first))
        rows = [best if wanted & {plain_name(c) for c in best.cells} else filled[0]]
    width = max(len(r.cells) for r in rows)
    cells = [" ".join(r.cells[i].strip() for r in rows if i < len(r.cells)).strip() for i in range(width)]
    while cells and not cells[-1]:
        cells.pop()
    return unique_header(cells), rows[-1].last


def preamble_labels(records: list[Record], before: int) -> dict[str, str]:
    """Read ``label: value`` and ``label, value`` lines above the header.

    Parameters
    ----------
    records : list of Record
        The first rows.
    before : int
        Line of the header.

    Returns
    -------
    dict of str to str
        Plain label -> value.
    """
    labels: dict[str, str] = {}
    for record in records:
        if record.last >= before:
            break
        cells = [c.strip() for c in record.cells if c.strip()]
        if not cells:
            continue
        label, mark, rest = cells[0].lstrip("#").partition(":")
        if not mark or not rest.strip():
            rest = cells[1] if len(cells) > 1 else ""
        if rest:
            labels[plain_name(label)] = rest.strip()
    return labels


def read_head(path: Path, encoding: str, name: str) -> str:
    """Return the first lines of a text file.

    Raises
    ------
    UnreadableFileError
        The bytes do not fit the encoding.
    """
    with path.open("rb") as file:
        raw = file.read(HEAD)
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        text = decoder.decode(raw, final=False)
    except UnicodeError as error:
        raise undecodable(name, encoding, error) from None
    if len(raw) == HEAD:  # the last line may be cut
        text = text[: max(text.rfind("\n"), text.rfind("\r")) + 1] or text
    return text


def undecodable(name: str, encoding: str, error: UnicodeError) -> UnreadableFileError:
    """Make the error for bytes that do not fit the declared encoding."""
    return UnreadableFileError(
        "the file is not in the encoding that the recipe declares",
        where=name,
        got=str(error),
        expected=encoding,
        fix='Set file.encoding = "auto" in the recipe.',
    )
