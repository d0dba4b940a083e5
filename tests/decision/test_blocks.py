"""Blocks: every scenario once, in order, whatever the cores; a fault is that of its block."""

from __future__ import annotations

import pytest

from capex.decision import blocks
from capex.decision.blocks import BLOCK, in_blocks


@pytest.mark.parametrize("cores", [1, 2, 16])
@pytest.mark.parametrize("count", [1, BLOCK, BLOCK + 1, 9 * BLOCK + 5])
def test_law_every_scenario_once_and_in_order(
    monkeypatch: pytest.MonkeyPatch, cores: int, count: int
) -> None:
    monkeypatch.setattr(blocks, "_cores", lambda: cores)
    found = [place for some in in_blocks(lambda some: some, count) for place in range(count)[some]]
    assert found == list(range(count))


@pytest.mark.parametrize("cores", [1, 2])
def test_nothing_runs_on_when_nobody_waits_any_more(
    monkeypatch: pytest.MonkeyPatch, cores: int
) -> None:
    monkeypatch.setattr(blocks, "_cores", lambda: cores)
    begun: list[int] = []
    pieces = in_blocks(lambda some: begun.append(some.start), 8 * BLOCK)
    next(pieces)
    assert len(begun) == cores
    pieces.close()
    assert len(begun) == cores


@pytest.mark.parametrize("cores", [1, 2])
def test_a_fault_in_a_block_is_raised(monkeypatch: pytest.MonkeyPatch, cores: int) -> None:
    monkeypatch.setattr(blocks, "_cores", lambda: cores)

    def failing(some: slice) -> int:
        if some.start == BLOCK:
            raise ValueError("of the second block")
        return some.start

    with pytest.raises(ValueError, match="of the second block"):
        list(in_blocks(failing, 3 * BLOCK))
