"""The name that a study is saved under, in the first line of its file when it is handed out.

The name is the store's, not the study's; without the line a file that comes back would lose it.
Imports the standard library only.
"""

from __future__ import annotations

import re
from typing import Final

__all__ = ["with_name", "without_name"]

_LINE: Final = re.compile(r"# Saved as: ([^\n]{1,120})\n")


def with_name(text: str, name: str) -> str:
    r"""Return the text of a study file under a line with its name.

    Examples
    --------
    >>> with_name('shop_name = "Ours"\n', " Ours,  spring ")
    '# Saved as: Ours, spring\nshop_name = "Ours"\n'
    """
    plain = "".join(each if each.isprintable() else " " for each in name)
    return f"# Saved as: {' '.join(plain.split())}\n{text}" if plain.strip() else text


def without_name(text: str) -> tuple[str, str]:
    """Return the name in the first line of a file, empty where there is none, and the rest.

    Examples
    --------
    >>> without_name(with_name("x = 1", "Ours")), without_name("x = 1")
    (('Ours', 'x = 1'), ('', 'x = 1'))
    """
    found = _LINE.match(text)
    return (found[1].strip(), text[found.end() :]) if found else ("", text)
