"""What the registry says of locked releases: taken back (yanked), or listed with known holes.

    python -m tests.dependencies --holes [NAME ...]

asks the JSON interface beside pip's own index about each release of `.ci/locked/run.txt`. What is
not answered counts as not checked, never as free of holes.
Sources: docs.pypi.org/api/json; PEP 592 (yanked files).
"""

# ruff: noqa: T201
from __future__ import annotations

import json
import re
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from http.client import HTTPException
from typing import Any
from urllib.parse import urlsplit, urlunsplit

from packaging.version import InvalidVersion, Version

PYPI = "https://pypi.org/simple"
#: Where the first releases get no answer at all, the others are not asked about.
GIVE_UP_AFTER = 3
SECONDS = 20
QUESTIONS = ("yanked", "vulnerable")

Ask = Callable[[str], Any]


class UnansweredError(Exception):
    """The registry did not say what was asked."""


@dataclass
class Release:
    """What was said of one release: to each question what is wrong, or why there is no answer."""

    name: str
    version: Version
    answered: dict[str, list[str]] = field(default_factory=dict)
    unanswered: dict[str, str] = field(default_factory=dict)


def json_address(index: str) -> str:
    """Return where the JSON interface of an index is, without the user's name and password."""
    parts = urlsplit(index)
    folder, simple, rest = parts.path.rpartition("/simple")
    if parts.scheme not in {"http", "https"} or not simple or rest.strip("/"):
        message = f"no JSON interface is known beside an index at {parts.hostname or 'a folder'}"
        raise UnansweredError(message)
    return urlunsplit((parts.scheme, parts.netloc.rpartition("@")[2], f"{folder}/pypi/", "", ""))


def index_of(settings: str) -> str:
    """Return the index that pip asks, from what `pip config list` prints."""
    found = dict(re.findall(r"^(:env:|install|global)\.index-url='(.*)'$", settings, re.MULTILINE))
    return next((found[key] for key in (":env:", "install", "global") if key in found), PYPI)


def asking(address: str) -> Ask:
    """Return what asks the JSON interface at this address."""

    def ask(path: str) -> Any:
        try:
            with urllib.request.urlopen(address + path, timeout=SECONDS) as answer:
                return json.load(answer)
        except (OSError, HTTPException, ValueError) as error:
            raise UnansweredError(str(error) or type(error).__name__) from error

    return ask


def yanked(project: Any, version: Version) -> list[str]:
    """Return that files of a release were taken back, empty where none was."""
    for text, files in project["releases"].items():
        try:
            same = Version(text) == version
        except InvalidVersion:  # releases from before PEP 440
            continue
        if same and files:
            back = [each for each in files if each["yanked"]]
            reason = next((each["yanked_reason"] for each in back if each["yanked_reason"]), None)
            said = f"yanked ({len(back)} of {len(files)} files): {reason or 'no reason given'}"
            return [said] if back else []
    message = "the release is not listed"
    raise UnansweredError(message)


def vulnerabilities(name: str, version: Version, ask: Ask) -> list[str]:
    """Return the holes listed for a release, but for those that were withdrawn."""
    said = ask(f"{name}/json")  # lists the holes of the newest release only
    if Version(said["info"]["version"]) != version:
        said = ask(f"{name}/{version}/json")
    if Version(said["info"]["version"]) != version:
        message = f"the answer is about {said['info']['version']}"
        raise UnansweredError(message)
    return [
        f"{' '.join([each['id'], *each['aliases']])}, mended in "
        f"{', '.join(each['fixed_in']) or 'no release'}: {each['link']}"
        for each in said["vulnerabilities"]
        if not each.get("withdrawn")
    ]


def look(name: str, version: Version, ask: Ask) -> Release:
    """Ask about one release."""
    found = Release(name, version)
    answers = (
        lambda: yanked(ask(f"{name}/json"), version),
        lambda: vulnerabilities(name, version, ask),
    )
    for question, answer in zip(QUESTIONS, answers, strict=True):
        try:
            found.answered[question] = answer()
        except UnansweredError as error:
            found.unanswered[question] = f"not answered ({error})"
        except (KeyError, TypeError, AttributeError, InvalidVersion) as error:
            found.unanswered[question] = f"the answer cannot be read ({error!r})"
    return found


def look_at_all(releases: Iterable[tuple[str, Version]], ask: Ask) -> list[Release]:
    """Ask about each release; give up where the first ones get no answer at all."""
    found: list[Release] = []
    for name, version in releases:
        found.append(look(name, version, ask))
        if len(found) == GIVE_UP_AFTER and not any(each.answered for each in found):
            break
    return found


def report(found: list[Release], wanted: int, where: str) -> tuple[str, int]:
    """Return the text, and 1 where something is wrong, 2 where something was not answered."""
    lines = []
    for each in found:
        here = f"{each.name} {each.version}"
        lines += [f"{here}  {text}   <- look" for texts in each.answered.values() for text in texts]
        lines += [f"{here}  {question}: {why}" for question, why in each.unanswered.items()]
    bad = open_ = 0
    for question in QUESTIONS:
        said = [each.answered[question] for each in found if question in each.answered]
        wrong = sum(bool(texts) for texts in said)
        line = f"{question}: {where} answered for {len(said)} of {wanted} releases"
        left = " The others were NOT CHECKED." if len(said) < wanted else ""
        lines.append(f"{line}, {wrong} of them {question}.{left}" if said
                     else f"{line}. NOTHING WAS CHECKED.")  # fmt: skip
        bad, open_ = bad + wrong, open_ + wanted - len(said)
    return "\n".join(lines), 1 if bad else 2 if open_ else 0


def main(releases: list[tuple[str, Version]]) -> int:
    """Ask pip's index about these releases and print what it says."""
    pip = [sys.executable, "-m", "pip", "config", "list"]
    settings = subprocess.run(pip, capture_output=True, text=True, check=False).stdout
    try:
        address = json_address(index_of(settings))
    except UnansweredError as error:
        print(f"NOTHING WAS CHECKED: {error}.")
        return 2
    host = urlsplit(address).hostname or address
    text, code = report(look_at_all(releases, asking(address)), len(releases), host)
    print(text)
    return code
