"""A study whose every word is markup, a script or a formula, on every page and in every file.

    python -m tests.stress.hostile_words [PAGE …]

Opens all pages, or those named, and the site in Chromium, writes all files of a report, and prints
what was looked at and where a word became more than a word, or no word was shown that could have.
"""

# ruff: noqa: T201, E402
from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from html.parser import HTMLParser
from itertools import count
from pathlib import Path
from typing import Final

import openpyxl

ROOT: Final = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from capex.study import data_folder
from capex.study.saved_studies import SavedStudies

#: What no page may hold as markup: an image that asks for an address and runs a script.
MARKUP: Final = "'\"><img src=x onerror=alert(1)></script>{{7*7}}#"
#: What no spreadsheet may take for a formula.
FORMULA: Final = '=HYPERLINK("http://127.0.0.1:9/","x")'
#: By which each is known where it is shown, whatever stands around it.
_KNOWN_BY: Final = {MARKUP: "onerror=alert", FORMULA: "HYPERLINK"}
_REGIME: Final = """
[tax_regimes.own]
title = {word}
jurisdiction = {word}
source = {word}
note = {word}
as_of = 2026-11-25
method = "straight_line"
life = 5
"""
_CAUGHT: Final = """() => [...document.querySelectorAll("*")].filter(each =>
    each.matches("img, script[src='x']") || [...each.attributes].some(a => a.name === "onerror")
).map(each => each.outerHTML.slice(0, 120))"""


#: How often a word is seen on a page: as text, or in what can be typed into.
_SHOWN: Final = """known => [document.body.innerText,
    ...[...document.querySelectorAll("input, textarea")].map(each => each.value)
].join("\\n").split(known).length - 1"""


def hostile_text(word: str) -> str:
    """Return the demo's text with every word of the user's replaced, each by another one."""
    text = (data_folder() / "studies" / "quenlow_year_on.toml").read_text(encoding="utf-8")
    numbers = count(1)

    def another(found: re.Match[str]) -> str:
        return f"{found[1]} = {json.dumps(f'{word}{next(numbers)}')}"

    text = re.sub(r'\b(name|shop_name|note) = "[^"]*"', another, text)
    text = text.replace('regime = "us_macrs_7"', 'regime = "own"')
    text = text.replace(
        "[shop.premises]\n", f"[shop.premises]\nreason = {json.dumps(word)}\n"
        "room_already_paid = true\n"
    )  # fmt: skip
    text = re.sub(r"(?m)^rent = .*USD/m².*\n", 'rent = "0 USD/m²/year"\n', text)
    return text + _REGIME.format(word=json.dumps(word))


class Markup(HTMLParser):
    """What a piece of HTML holds: the elements a word may have become, and all its words."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.caught: list[str] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element or an attribute that only a script would bring."""
        if tag in {"img", "script", "iframe"} or any(name.startswith("on") for name, _ in attrs):
            self.caught.append(f"<{tag} {attrs}>")

    def handle_data(self, data: str) -> None:
        """Note the words."""
        self.words.append(data)


def formulas(book: bytes, known: str = _KNOWN_BY[FORMULA]) -> tuple[list[str], int]:
    """Return the cells of a workbook that hold the user's words as a formula; how many as words."""
    cells = [(f"{sheet.title}!{cell.coordinate}: {cell.value}", cell.data_type)
             for sheet in openpyxl.load_workbook(io.BytesIO(book)) for row in sheet.iter_rows()
             for cell in row if known in str(cell.value)]  # fmt: skip
    found = [text for text, kind in cells if kind == "f"]
    return found, len(cells) - len(found)


def caught_in_files(folder: Path, study: Path, known: str) -> Iterator[str]:
    """Yield where a word of the user's became more in the files of a report, or is not shown."""
    command = [sys.executable, "-m", "capex", "report", str(study), "--folder", str(folder / "all"),
               "--xlsx", str(folder / "book.xlsx"), "--draws", "256"]  # fmt: skip
    subprocess.run(command, check=True, cwd=ROOT, capture_output=True)
    found, in_book = formulas((folder / "book.xlsx").read_bytes(), known)
    shown = {"the workbook": in_book, "the tables": 0, "the drawings": 0}
    yield from found
    for path in sorted((folder / "all").rglob("*")):
        if path.suffix == ".svg":
            drawn = Markup(path.read_text())
            shown["the drawings"] += sum(known in word for word in drawn.words)
            yield from (f"{path.name}: {each}" for each in drawn.caught)
        if path.suffix == ".csv":
            for row in csv.reader(path.read_text(encoding="utf-8-sig").splitlines()):
                shown["the tables"] += sum(known in cell for cell in row)
                yield from (f"{path.name}: {cell}" for cell in row if cell.startswith("=HYPER"))
    said = ", ".join(f"{where} {count}" for where, count in shown.items())
    print(f"  files of a report: {len(list((folder / 'all').rglob('*.*')))} and a workbook; "
          f"cells and pieces of text with the words: {said}")  # fmt: skip
    yield from (f"{where}: none of the words is shown" for where, count in shown.items()
                if not count)  # fmt: skip


def caught_on_pages(folder: Path, text: str, pages: list[str]) -> Iterator[str]:
    """Yield where a word of the user's became an element of a page, or none is shown."""
    from browser.conftest import ARGUMENTS, CHROMIUM, READY, served
    from playwright.sync_api import sync_playwright

    os.environ["CAPEX_DATA"] = str(folder / "data")
    saved = SavedStudies()
    key = saved.add(MARKUP, text, MARKUP).study
    saved.save(key, text.replace('value = "7 years"', 'value = "6 years"', 1), MARKUP)
    saved.keep(MARKUP, text + "# changed", key, 1)
    pages = pages or sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))
    site = ["", f"studies/{key}", f"compare?one={key}@1&other={key}", "?done=x&study=" + MARKUP]
    addresses = [*site, *(f"{page}?study={key}" for page in pages)]
    with served(ROOT / "notebooks") as server, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for address in addresses:
            page = browser.new_page()
            page.set_default_timeout(240_000)
            said: list[str] = []
            page.on("dialog", lambda dialog, said=said: (said.append("a script ran"),
                                                         dialog.dismiss()))  # fmt: skip
            page.goto(server.url + address)
            page.wait_for_function(READY)
            page.wait_for_timeout(3000)
            for button in page.locator("summary:visible").all()[:40]:
                button.click()
            shown = page.evaluate(_SHOWN, _KNOWN_BY[MARKUP])
            print(f"  /{address.split('?')[0]}: the words stand {shown} times", flush=True)
            if not shown:
                yield f"/{address}: none of the words is shown"
            yield from (f"/{address}: {each}" for each in [*said, *page.evaluate(_CAUGHT)])
            page.goto("about:blank")
            page.close()
        browser.close()


def main(pages: list[str]) -> int:
    """Print what was found; return 1 where a word became more than a word or none is shown."""
    caught = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for word in (FORMULA, MARKUP):
            (folder / "study.toml").write_text(hostile_text(word), encoding="utf-8")
            for line in caught_in_files(folder, folder / "study.toml", _KNOWN_BY[word]):
                caught += 1
                print(f"  CAUGHT {line}")
        for line in caught_on_pages(folder, hostile_text(MARKUP), pages):
            caught += 1
            print(f"  CAUGHT {line}", flush=True)
    print(f"  words that became more than words, or places without any: {caught}")
    return 1 if caught else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
