"""Where the fonts for paper are: in installed packages, never those of the system.

Imports the standard library.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Final

__all__ = ["brought_along", "font_folders"]

#: Packages that bring fonts, and where in them.
_FONTS: Final = (("matplotlib", "mpl-data/fonts/ttf"), ("zhplot", "fonts"))


@cache
def font_folders() -> tuple[Path, ...]:
    """Return the folders of fonts of the packages that are installed."""
    folders: list[Path] = []
    for package, inside in _FONTS:
        found = find_spec(package)
        if found is not None and found.submodule_search_locations:
            folders.append(Path(found.submodule_search_locations[0], inside))
    return tuple(folders)


@cache
def brought_along() -> tuple[str, ...]:
    """Return the families that matplotlib has, after its own, from the other packages."""
    from matplotlib.font_manager import FontProperties, fontManager

    files = [each for folder in font_folders()[1:] for each in sorted(folder.glob("*.ttf"))]
    for file in files:
        fontManager.addfont(file)
    return tuple(FontProperties(fname=file).get_name() for file in files)
