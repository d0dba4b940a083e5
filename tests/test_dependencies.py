"""The locked packages are what pyproject.toml asks for, by hash, under licences that fit ours."""

import re
from email.message import Message

import pytest
from packaging.utils import canonicalize_name

from tests.dependencies import COMPATIBLE, LOCKS, asked_for, licences, licences_of, locked

EXTRAS = {"run": (), "tests": ("cluster", "cjk", "fast", "verify", "fuzz", "dev")}


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_holds_everything_asked_for_at_or_above_its_bound(name: str) -> None:
    found = locked(LOCKS[name])
    versions = {each.name: each.version for each in found}
    wrong = [
        f"{package}: {versions.get(package)} is not {one.specifier}"
        for package, one in asked_for(*EXTRAS[name]).items()
        if package not in versions or not one.specifier.contains(versions[package])
    ]
    assert wrong == []
    assert [each.name for each in found if not each.hashes] == []


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_holds_nothing_for_capex_that_is_not_asked_for(name: str) -> None:
    blocks = re.split(r"\n(?=[A-Za-z0-9])", LOCKS[name].read_text(encoding="utf-8"))
    ours = {
        canonicalize_name(block.partition("==")[0])
        for block in blocks
        if re.search(r"^    #(  | via) capex \(pyproject\.toml\)$", block, re.MULTILINE)
    }
    assert ours == set(asked_for(*EXTRAS[name]))


def test_every_lower_bound_is_stated() -> None:
    assert [
        str(one)
        for one in asked_for(*EXTRAS["tests"]).values()
        if [each.operator for each in one.specifier] != [">="]
    ] == []


def test_every_licence_is_one_that_fits() -> None:
    found = {each.name: licences_of(each.name) for each in locked(LOCKS["tests"])}
    there = {name: said for name, said in found.items() if said is not None}
    assert len(there) > 100
    assert {name: said for name, said in there.items() if not said or not said <= COMPATIBLE} == {}


def test_a_licence_that_does_not_fit_is_found() -> None:
    said = Message()
    said["License-Expression"] = "MIT AND GPL-3.0-only"
    assert licences(said) - COMPATIBLE == {"GPL-3.0-only"}
    said = Message()
    said["Classifier"] = "License :: OSI Approved :: GNU Affero General Public License v3"
    assert licences(said) - COMPATIBLE
    assert licences(Message()) == set()
