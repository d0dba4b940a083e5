"""Everything in a document as files of its own: tables as CSV, pictures as SVG and PNG.

Imports the standard library and, of this folder, `content`.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import Final

from capex.views.chart import ChartTable
from capex.views.documents.paper.content import Document, Drawing, Grid

__all__ = ["csv_text", "loose_leaves"]

#: A figure with its sign, which a spreadsheet reads as one.
_FIGURE: Final = re.compile(r"[+−-][$€£¥]?\d[\d,]*(\.\d+)?%?")


def csv_text(table: ChartTable) -> str:
    """Return a table as CSV; a text that a spreadsheet would take for a formula gets a ``'``.

    Figures bear the sign that a spreadsheet reads.

    Examples
    --------
    >>> print(csv_text(ChartTable(["Choice", "Gain"], [["=1+1", "−$2"]])), end="")
    Choice,Gain
    '=1+1,-$2
    """
    lines = io.StringIO()
    writer = csv.writer(lines, lineterminator="\n")
    for row in (table.columns, *table.rows):
        writer.writerow(map(_safe, row))
    return lines.getvalue()


def _safe(cell: str) -> str:
    if _FIGURE.fullmatch(cell):
        return cell.replace("−", "-")
    return f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell


def loose_leaves(document: Document) -> Iterator[tuple[str, bytes]]:
    """Yield the name of a file and what it holds, for every table and picture in order.

    Parameters
    ----------
    document : Document
    """
    for section in document.sections:
        for place, block in enumerate(section.blocks, 1):
            if not isinstance(block, Grid | Drawing):
                continue
            words = re.sub(r"[^a-z0-9]+", "_", block.name.lower())[:48].strip("_")
            name = f"{section.key}_{place}_{words}"
            if isinstance(block, Grid):
                # with its mark, a spreadsheet reads the file as UTF-8
                yield f"{name}.csv", csv_text(block.table).encode("utf-8-sig")
                continue
            yield f"{name}.svg", block.svg.encode()
            if block.png is not None:
                yield f"{name}.png", block.png()
