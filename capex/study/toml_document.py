"""A study's text as a document that is edited in place, its comments and order kept.

Imports tomlkit.
"""

from __future__ import annotations

import pickle
from functools import lru_cache
from typing import Final

import tomlkit

__all__ = ["toml_document"]

#: Longest text of which a document is kept [characters].
_KEPT: Final = 500_000


def toml_document(text: str) -> tomlkit.TOMLDocument:
    """Return the document of a text, the caller's own.

    Parameters
    ----------
    text : str
        TOML.

    Returns
    -------
    TOMLDocument
        What was read last is kept and copied: a text is read again whenever a change is refused
        or taken back, and reading takes ten times as long as a copy.

    Raises
    ------
    TOMLKitError, RecursionError
        Not TOML, or nested too deep.

    Examples
    --------
    >>> document = toml_document("shifts = 1  # of one person")
    >>> document["shifts"] = 2
    >>> tomlkit.dumps(document), tomlkit.dumps(toml_document("shifts = 1  # of one person"))
    ('shifts = 2  # of one person', 'shifts = 1  # of one person')
    """
    if len(text) > _KEPT:
        return tomlkit.parse(text)
    try:
        document: tomlkit.TOMLDocument = pickle.loads(_kept(text))
    except RecursionError:  # copying goes deeper than reading
        return tomlkit.parse(text)
    return document


@lru_cache(16)
def _kept(text: str) -> bytes:
    return pickle.dumps(tomlkit.parse(text), pickle.HIGHEST_PROTOCOL)
