"""What capex stands on: the locked packages, their hashes and their licences.

    python -m tests.dependencies

prints every locked package with the licence that its own metadata state, and whether a program
under the MIT licence may be handed on with it. Needs the packages of `.[dev]` installed.
`--holes [NAME ...]` asks the registry about the packages to run capex instead (`known_holes`);
`--above PINS` prints what a file of pins has above the lower bounds of `.[dev]`.
"""

# ruff: noqa: T201
from __future__ import annotations

import argparse
import re
import sys
import tomllib
from dataclasses import dataclass
from importlib.metadata import PackageMetadata, PackageNotFoundError, metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from tests import known_holes

ROOT = Path(__file__).parents[1]
#: The extras that `.[dev]` brings.
DEV = ("cjk", "cluster", "fast", "verify", "dev")
LOCKS = {name: ROOT / ".ci" / "locked" / f"{name}.txt" for name in ("run", "tests")}

#: Licences that ask for no more than their own text beside the program, or, with MPL-2.0, for the
#: source of the package itself where it was changed. Names as of SPDX (spdx.org/licenses).
COMPATIBLE = {
    "0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "LLVM-exception",
    "MIT", "MIT-0", "MIT-CMU", "MPL-2.0", "PSF-2.0", "Unlicense", "Zlib",
}  # fmt: skip
#: How metadata that name no SPDX licence say it.
_WORDS = (
    (r"apache", "Apache-2.0"),
    (r"bsd 2|2-clause bsd|bsd-2", "BSD-2-Clause"),
    (r"bsd", "BSD"),
    (r"\bisc\b", "ISC"),
    (r"mozilla public license 2|mpl-2", "MPL-2.0"),
    (r"\bmit\b", "MIT"),
    (r"python software foundation|psf", "PSF-2.0"),
    (r"unlicense", "Unlicense"),
)
#: Whose own metadata state nothing, read from the licence file of its source.
STATED_ELSEWHERE = {"axe-playwright-python": "MIT"}


@dataclass(frozen=True)
class Locked:
    """One package of a lock file."""

    name: str
    version: Version
    hashes: int


def locked(path: Path) -> list[Locked]:
    """Return the packages of a lock file; one may stand there in several versions."""
    found = []
    for block in re.split(r"\n(?=[A-Za-z0-9])", path.read_text(encoding="utf-8")):
        if named := re.match(r"([\w.-]+)==([^\s;\\]+)", block):
            hashes = len(re.findall(r"--hash=sha256:[0-9a-f]{64}\b", block))
            found.append(Locked(canonicalize_name(named[1]), Version(named[2]), hashes))
    return found


def asked_for(*extras: str) -> dict[str, Requirement]:
    """Return what `pyproject.toml` asks for by name, with these extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [*project["dependencies"]]
    for extra in extras:
        lines += project["optional-dependencies"][extra]
    each = (Requirement(line) for line in lines)
    return {canonicalize_name(one.name): one for one in each if one.name != "capex"}


def licences(said: PackageMetadata) -> set[str]:
    """Return the licences that a package's metadata state, empty where they state none."""
    if expression := said.get("License-Expression"):
        return {word for word in re.findall(r"[\w.-]+", expression)
                if word not in {"AND", "OR", "WITH"}}  # fmt: skip
    texts = [line.rpartition(" :: ")[2] for line in said.get_all("Classifier", [])
             if line.startswith("License")]  # fmt: skip
    texts = texts or [str(said.get("License") or "").strip()[:200]]
    found = set()
    for text in texts:
        name = next((name for words, name in _WORDS if re.search(words, text.lower())), text)
        found |= {name} if name else set()
    return found


def licences_of(name: str) -> set[str] | None:
    """Return the licences of an installed package; None where it is not installed."""
    try:
        return licences(metadata(name)) or {STATED_ELSEWHERE.get(name, "")} - {""}
    except PackageNotFoundError:
        return None


def above_bounds(pins: Path, asked: dict[str, Requirement]) -> list[str]:
    """Return what a file of pins has above its lower bound, which so goes untried."""
    versions = {each.name: each.version for each in locked(pins)}
    return [
        f"{name} {versions[name]} ({one.specifier})"
        for name, one in asked.items()
        if versions[name] > min(Version(each.version) for each in one.specifier)
    ]


def holes(names: list[str]) -> int:
    """Ask the registry about the packages to run capex, or about those of them named."""
    run = {(each.name, each.version) for each in locked(LOCKS["run"])}
    wanted = {canonicalize_name(name) for name in names} or {name for name, _ in run}
    if unknown := wanted - {name for name, _ in run}:
        sys.exit(f"not in {LOCKS['run'].name}: {', '.join(sorted(unknown))}")
    return known_holes.main(sorted(each for each in run if each[0] in wanted))


def main() -> int:
    """Do what the command line asks for."""
    parser = argparse.ArgumentParser(prog="python -m tests.dependencies")
    parser.add_argument("--holes", nargs="*", metavar="NAME")
    parser.add_argument("--above", type=Path, metavar="PINS")
    said = parser.parse_args()
    if said.holes is not None:
        return holes(said.holes)
    if said.above is not None:
        found = above_bounds(said.above, asked_for(*DEV))
        print("above the lower bound, which so goes untried:", ", ".join(found) or "none")
        return 0
    return print_licences()


def print_licences() -> int:
    """Print the packages; return 1 where one may not be handed on with a program under MIT."""
    run = {each.name for each in locked(LOCKS["run"])}
    wrong = 0
    for each in locked(LOCKS["tests"]):
        found = licences_of(each.name)
        said = "not installed here" if found is None else " ".join(sorted(found)) or "NOT STATED"
        bad = found is not None and not (found and found <= COMPATIBLE)
        wrong += bad
        where = "run" if each.name in run else "tests"
        mark = "   <- look" if bad else ""
        print(f"{each.name:<28} {each.version!s:<14} {where:<6} {said}{mark}")
    print(f"{wrong} of them not among the licences looked at")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
