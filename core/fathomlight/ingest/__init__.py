"""Files become rows, rows become readings; what cannot be read is told, line by line, with a remedy."""

from fathomlight.ingest.checks import POSSIBLE
from fathomlight.ingest.guess import ColumnGuess
from fathomlight.ingest.meanings import ROLE_WORDS, ColumnMeaning, parse_meaning
from fathomlight.ingest.propose import Proposal, Question, propose_recipe, restate
from fathomlight.ingest.read import iter_chunks, read_file, read_rows, recheck_row
from fathomlight.ingest.recipe import Recipe, for_station, load_recipes, write_recipe
from fathomlight.ingest.result import ReadLimits, ReadResult, merge_results
from fathomlight.ingest.template import CAUTIONS, template_recipe, visit_columns, write_template
from fathomlight.ingest.visit import Visit, visit_row, visit_to_readings

__all__ = [
    "CAUTIONS",
    "POSSIBLE",
    "ROLE_WORDS",
    "ColumnGuess",
    "ColumnMeaning",
    "Proposal",
    "Question",
    "ReadLimits",
    "ReadResult",
    "Recipe",
    "Visit",
    "for_station",
    "iter_chunks",
    "load_recipes",
    "merge_results",
    "parse_meaning",
    "propose_recipe",
    "read_file",
    "read_rows",
    "recheck_row",
    "restate",
    "template_recipe",
    "visit_columns",
    "visit_row",
    "visit_to_readings",
    "write_recipe",
    "write_template",
]
