"""Workbooks recalculated by a spreadsheet engine of the machine (LibreOffice), if there is one.

Nothing leaves the machine: the engine runs without a screen and with a profile of its own.

Imports nothing from the package.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Final, Literal

__all__ = ["recalculated", "spreadsheet_engine"]

#: When the engine recalculates a file that it opens; else it shows the values that are in it.
_MODES: Final = {"always": 0, "never": 1}
_PROFILE: Final = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>{mode}</value></prop></item>
</oor:items>"""
#: Seconds that a run may take.
_PATIENCE: Final = 600


def spreadsheet_engine() -> str | None:
    """Return where the engine's program is, None where it is not installed."""
    return shutil.which("soffice") or shutil.which("libreoffice")


def recalculated(
    files: Mapping[str, bytes], folder: Path, when: Literal["always", "never"] = "always"
) -> dict[str, bytes]:
    """Return workbooks as the engine saves them, with its own values.

    Parameters
    ----------
    files : mapping of str to bytes
        XLSX files by a name that can be a file's.
    folder : Path
        An empty folder to work in.
    when : {"always", "never"}
        Whether formulas are worked out again as a file is opened.

    Returns
    -------
    dict of str to bytes
        XLSX files by the same names.

    Raises
    ------
    FileNotFoundError
        There is no engine, or it wrote nothing.
    subprocess.SubprocessError
        It failed, or was not done within ten minutes.
    """
    program = spreadsheet_engine()
    if program is None:
        raise FileNotFoundError("soffice")
    source, out, profile = folder / "in", folder / "out", folder / "profile"
    for path in (source, out, profile / "user"):
        path.mkdir(parents=True)
    settings = profile / "user" / "registrymodifications.xcu"
    settings.write_text(_PROFILE.format(mode=_MODES[when]), encoding="utf-8")
    for name, content in files.items():
        (source / f"{name}.xlsx").write_bytes(content)
    every = [str(source / f"{name}.xlsx") for name in files]
    subprocess.run(
        [program, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to",
         "xlsx:Calc MS Excel 2007 XML", "--outdir", str(out), *every],
        check=True, capture_output=True, timeout=_PATIENCE,
    )  # fmt: skip
    return {name: (out / f"{name}.xlsx").read_bytes() for name in files}
