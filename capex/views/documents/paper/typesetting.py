"""A document set as PDF by typst: tagged, accessible (PDF/UA-1), the same bytes each time.

Everything from a study or a user reaches the template as data, never as markup. Only fonts of the
installed packages are used: typst's own, those of matplotlib, and Noto Sans SC where the extra
``capex[cjk]`` brings it.

Imports typst on demand, `capex.errors` and, of this folder, `content` and `fonts`.
"""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any, Final

from capex.errors import CapexError
from capex.views.documents.paper.content import Document, Grid
from capex.views.documents.paper.fonts import font_folders

__all__ = ["pdf"]

_TEMPLATE: Final = Path(__file__).parent / "document.typ"


def _data(document: Document) -> dict[str, Any]:
    """Return a document as plain data; every block says what it is."""
    data = asdict(document)
    data["made_on"] = [document.made_on.year, document.made_on.month, document.made_on.day]
    for section, stated in zip(document.sections, data["sections"], strict=True):
        for block, plain in zip(section.blocks, stated["blocks"], strict=True):
            plain["kind"] = type(block).__name__.lower()
            plain.pop("png", None)
            if isinstance(block, Grid):
                plain["table"] = block.table._asdict()
    return data


def pdf(document: Document) -> bytes:
    """Return a document as a PDF.

    Parameters
    ----------
    document : Document

    Raises
    ------
    CapexError
        A character that no installed font can show, by name.
    """
    import typst

    midnight = datetime.combine(document.made_on, time(), UTC)
    try:
        made = typst.compile(
            _TEMPLATE,
            format="pdf",
            font_paths=list(font_folders()),
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(_data(document))},
            pdf_standards="ua-1",
            timestamp=int(midnight.timestamp()),
        )
    except typst.TypstError as error:
        message = str(error)
        if re.search(r"could not be displayed|missing glyph|notdef", message):
            raise CapexError(
                "no installed font shows a character of this study, and a document must not drop "
                f"it: {message.strip()}. For Chinese install capex[cjk]"
            ) from None
        raise
    assert isinstance(made, bytes)
    return made
