"""Every term is explained once, and no abbreviation stands on a screen without its explanation."""

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from capex.views.glossary import TERMS

VIEWS = Path(__file__).parents[2] / "capex" / "views"
# Names of files and units, and countries, not terms of the field; from memory.
KNOWN = {"PDF", "XLSX", "CSV", "TOML", "SVG", "JSON", "UTF", "MB", "US", "A4"}
KNOWN |= {"USD", "EUR", "GBP", "JPY", "NAME"}  # NAME stands for a name to be typed
# Not on a page: the command line, a spreadsheet's own functions, and drawing commands.
ELSEWHERE = ("commands", "workbook", "server.py", "plan_marks.py", "plan_svg.py", "palette.py")


def said_in(source: str) -> Iterator[str]:
    """Texts of several words in a module, but its docstrings."""
    tree = ast.parse(source)
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) and id(node) not in silent else None
        if isinstance(text, str) and " " in text:
            yield text


def abbreviations() -> set[str]:
    """Words in capital letters that the pages say."""
    files = [path for path in VIEWS.rglob("*.py") if not set(path.parts) & set(ELSEWHERE)]
    texts = [text for path in files for text in said_in(path.read_text("utf-8"))]
    return {word for text in texts for word in re.findall(r"\b[A-Z][A-Z0-9]+\b", text)}


def test_law_every_form_belongs_to_one_term() -> None:
    forms = Counter(form.lower() for term in TERMS for form in (term.name, *term.forms))
    assert [form for form, count in forms.items() if count > 1] == []


def test_law_every_abbreviation_on_a_page_is_explained() -> None:
    explained = {form for term in TERMS for form in (term.name, *term.forms)}
    found = abbreviations()
    assert {"NPV", "APR", "P5", "P95"} <= found
    assert found - KNOWN - explained == set()


def test_law_an_explanation_is_one_short_piece_and_explains_its_own_abbreviations() -> None:
    explained = {form for term in TERMS for form in (term.name, *term.forms)} | KNOWN
    for term in TERMS:
        assert 20 < len(term.words) < 240, term.name
        assert term.words.endswith("."), term.name
        assert set(re.findall(r"\b[A-Z]{2,}\b", term.words)) <= explained, term.name
