"""A document that was copied is edited and written as one that was read."""

import pytest
import tomlkit
from tomlkit.exceptions import TOMLKitError

from capex.study import data_folder
from capex.study.toml_document import toml_document

STUDIES = sorted((data_folder() / "studies").glob("*.toml"))


def edited(document: tomlkit.TOMLDocument) -> str:
    """Return the text after entries, a new table, a new list entry and a removal."""
    document["currency"] = "EUR"
    document["shop"]["people"]["wage"] = "31 EUR/h"
    document["jobs"].append("new", tomlkit.item({"name": "New", "price": "9 EUR"}))
    document["alternatives"][next(iter(document["alternatives"]))]["note"] = "as agreed"
    document["machines"].pop(next(iter(document["machines"])))
    return tomlkit.dumps(document)


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.stem)
def test_against_tomlkit_a_copy_is_edited_like_what_was_read(path) -> None:
    text = path.read_text(encoding="utf-8")
    read = edited(tomlkit.parse(text))
    for _ in range(2):  # the second is a copy of what is kept, untouched by the first
        document = toml_document(text)
        assert tomlkit.dumps(document) == text
        assert document.unwrap() == tomlkit.parse(text).unwrap()
        assert edited(document) == read


@pytest.mark.parametrize("text", ["wage = ", "[a]\n[a]", "a = 1\na = 2"])
def test_law_what_is_not_toml_is_refused_every_time(text: str) -> None:
    for _ in range(2):
        with pytest.raises(TOMLKitError):
            toml_document(text)


def test_law_what_is_nested_deeply_is_read_whole() -> None:
    text = "a = " + "[" * 90 + "]" * 90
    assert tomlkit.dumps(toml_document(text)) == text
