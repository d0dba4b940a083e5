"""Everything in a document as files of its own: tables as CSV, pictures as SVG and PNG.

Imports the standard library and, of this folder, `content`.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator

from capex.views.chart import ChartTable
from capex.views.documents.paper.content import Document, Drawing, Grid

__all__ = ["csv_text", "loose_leaves"]


def csv_text(table: ChartTable) -> str:
    """Return a table as CSV; a cell that a spreadsheet would take for a formula gets a ``'``.

    Examples
    --------
    >>> print(csv_text(ChartTable(["Choice", "Gain"], [["=1+1", "−$2"]])), end="")
    Choice,Gain
    '=1+1,−$2
    """
    lines = io.StringIO()
    writer = csv.writer(lines, lineterminator="\n")
    for row in (table.columns, *table.rows):
        writer.writerow(f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell
                        for cell in row)  # fmt: skip
    return lines.getvalue()


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
