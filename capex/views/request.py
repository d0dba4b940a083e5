"""Which study a page was asked to show.

May import: voila (inside a preheated kernel only), and from capex errors and study.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from urllib.parse import parse_qs

from capex.errors import InputError

__all__ = ["requested_study"]


def requested_study(folder: Path) -> Path | None:
    """Study file that this page shall show.

    In a kernel that was started ahead of the visit this waits for the visit: call it after
    everything that does not depend on the study.

    Parameters
    ----------
    folder : Path
        Folder of the studies that an address may name.

    Returns
    -------
    Path or None
        The study named by ``?study=``, else the one that the server was started with, else None.

    Raises
    ------
    InputError
        ``?study=`` is not the name of a study in the folder.
    """
    if os.environ.get("VOILA_PREHEAT") == "True":
        from voila.utils import wait_for_request  # 1.5 s to import, hidden by the preheating

        wait_for_request()
    name = parse_qs(os.environ.get("QUERY_STRING", "")).get("study", [""])[0]
    if name:
        # Names only, never paths: an address must not make the page read some other file.
        if re.fullmatch(r"[\w-]+", name) and (path := folder / f"{name}.toml").is_file():
            return path
        known = ", ".join(sorted(path.stem for path in folder.glob("*.toml")))
        raise InputError("study", name, f"must be one of: {known}")
    started_with = os.environ.get("CAPEX_STUDY")
    return Path(started_with) if started_with else None
