"""Files become rows, rows become readings; what cannot be read is told, line by line, with a remedy."""

from fathomlight.ingest.checks import POSSIBLE
from fathomlight.ingest.read import iter_chunks, read_file, read_rows, recheck_row
from fathomlight.ingest.recipe import Recipe, for_station, load_recipes, write_recipe
from fathomlight.ingest.result import ReadLimits, ReadResult, merge_results

__all__ = [
    "POSSIBLE",
    "ReadLimits",
    "ReadResult",
    "Recipe",
    "for_station",
    "iter_chunks",
    "load_recipes",
    "merge_results",
    "read_file",
    "read_rows",
    "recheck_row",
    "write_recipe",
]
