"""Tables as CSV files to download; cells that a spreadsheet would take for a formula are neutralised."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Final

from flask import Response

_FORMULA: Final = re.compile(r"[=+\-@\t\r]")  # the first characters that OWASP names for CSV injection [memory]
_NUMBER: Final = re.compile(r"[+-]?\d+(\.\d+)?")


def csv_response(name: str, head: Sequence[str], rows: Iterable[Sequence[object]]) -> Response:
    """A CSV file by RFC 4180, in UTF-8 with a mark that spreadsheets look for."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    writer.writerows([neutral(cell) for cell in row] for row in rows)
    disposition = f'attachment; filename="{name}"'
    return Response("\ufeff" + out.getvalue(), mimetype="text/csv", headers={"Content-Disposition": disposition})


def neutral(cell: object) -> object:
    """A cell as a spreadsheet may read it: a text that begins like a formula gets an apostrophe before it."""
    if isinstance(cell, str) and _FORMULA.match(cell) and not _NUMBER.fullmatch(cell):
        return f"'{cell}"
    return "" if cell is None else cell
