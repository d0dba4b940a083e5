"""What all widgets of our own share: the page may say what the user did, and set nothing else.

A browser can be made to send anything. What it may set is named by each widget and looked at
first; the rest is passed over, as no page of ours sends it.

May import: anywidget.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import anywidget

__all__ = ["OneWay", "ticket"]

_LARGEST: Final = 2**53  # whole numbers that a browser counts to


class OneWay(anywidget.AnyWidget):
    """A widget whose state is the kernel's.

    Examples
    --------
    >>> class Title(OneWay):
    ...     _esm = "export default {}"
    >>> title = Title()
    >>> title.set_state({"_esm": "alert(1)"})
    >>> title._esm
    'export default {}'
    """

    def __init_subclass__(cls, **settings: Any) -> None:
        """Read scripts and styles here: anywidget ties a widget to its files for good."""
        for key in ("_esm", "_css"):
            source = cls.__dict__.get(key)
            if isinstance(source, Path):
                setattr(cls, key, source.read_text(encoding="utf-8"))
        super().__init_subclass__(**settings)

    def may_be_set(self, name: str, value: object) -> bool:
        """Return whether the page may set a trait to a value."""
        return False

    def set_state(self, sync_data: Mapping[str, Any]) -> None:
        """Take over what the page may set."""
        taken = {name: value for name, value in sync_data.items() if self.may_be_set(name, value)}
        super().set_state(taken)

    def _handle_custom_msg(self, content: object, buffers: Sequence[Any]) -> None:
        if isinstance(content, Mapping):
            super()._handle_custom_msg(content, buffers)


def ticket(content: Mapping[str, Any]) -> int:
    """Return the number of a user's entry, 0 where there is none.

    Parameters
    ----------
    content : mapping
        As the page says it.

    Examples
    --------
    >>> ticket({"ticket": 7}), ticket({"ticket": "x"}), ticket({})
    (7, 0, 0)
    """
    number = content.get("ticket", 0)
    return number if type(number) is int and 0 <= number < _LARGEST else 0
