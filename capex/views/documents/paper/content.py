"""What a printed document holds, before anybody sets it: sections of words, tables and pictures.

Imports the standard library and `capex.views.chart`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from capex.views.chart import ChartTable

__all__ = ["Block", "Document", "Drawing", "Grid", "Letterhead", "Paper", "Section", "Words"]

Paper = Literal["a4", "us-letter"]


@dataclass(frozen=True)
class Words:
    """Paragraphs, or the entries of a list.

    Parameters
    ----------
    lines : sequence of str
    style : {"plain", "lead", "note", "list"}
    """

    lines: Sequence[str]
    style: Literal["plain", "lead", "note", "list"] = "plain"


@dataclass(frozen=True)
class Grid:
    """A table with its name.

    Parameters
    ----------
    name : str
    table : ChartTable
        First column names the row.
    words : int
        How many columns from the left hold words, not figures.
    small : bool
        Whether its many columns need small type.
    strong : tuple of int
        Rows that stand out.
    shares : tuple of float
        Of the width, one a column; by default columns fit what they hold.
    height : float
        Least height of a row that is to be written in [mm].
    """

    name: str
    table: ChartTable
    words: int = 1
    small: bool = False
    strong: tuple[int, ...] = ()
    shares: tuple[float, ...] = ()
    height: float = 0.0


@dataclass(frozen=True)
class Drawing:
    """A picture with its reading.

    Parameters
    ----------
    name : str
    svg : str
    reading : str
        One line in words; also what stands in for the picture where it cannot be seen.
    share : float
        Of the width of the text.
    png : callable, optional
        Draws the same as PNG.
    """

    name: str
    svg: str
    reading: str
    share: float = 1.0
    png: Callable[[], bytes] | None = None


Block = Words | Grid | Drawing


@dataclass(frozen=True)
class Section:
    """One part of a document.

    Parameters
    ----------
    key, title : str
    blocks : sequence of Block
    new_page : bool
        Whether it begins a page.
    """

    key: str
    title: str
    blocks: Sequence[Block]
    new_page: bool = False


@dataclass(frozen=True)
class Letterhead:
    """Who hands the document in, in their own words.

    Parameters
    ----------
    name : str
        Of the shop.
    lines : tuple of str
        Address, telephone, whatever else belongs below it.
    """

    name: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Document:
    """A document ready to be set.

    Parameters
    ----------
    title : str
    letterhead : Letterhead
    made_on : date
    sections : sequence of Section
    foot : str
        One small line at the foot of every page.
    paper : {"a4", "us-letter"}
    signatures : tuple of str
        Who signs, one line each.
    landscape : bool
    """

    title: str
    letterhead: Letterhead
    made_on: date
    sections: Sequence[Section]
    foot: str
    paper: Paper = "a4"
    signatures: tuple[str, ...] = ()
    landscape: bool = False
