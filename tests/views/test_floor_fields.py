"""Tables and files of the shop floor page: whatever the user did is answered."""

import pytest

from capex.views.floor.fields import Column, FileIn, Grid


@pytest.mark.parametrize(
    "content",
    [{"kind": "cells", "cells": [[0, 0, "1"]]}, {"kind": "cells", "cells": []}, {"kind": "add"}],
)
def test_a_table_is_answered_even_where_nothing_comes_of_it(content: dict[str, object]) -> None:
    """The page shows that it is busy until the answer: a table that never hears would stay so."""
    grid = Grid("Readings", lambda _: None, growing=True)
    grid.show([Column("time [s]")], ["2"], [[""]])
    before = grid.answer
    grid.told(None, content, [])
    assert grid.answer > before


def test_a_file_is_answered_with_the_same_message_twice() -> None:
    taken: list[str] = []
    upload = FileIn("Upload", ".csv", lambda name, _: taken.append(name))
    before = upload.answer
    upload.say("")
    upload.say("")
    assert upload.answer == before + 2
