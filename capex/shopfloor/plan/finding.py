"""One finding of a plan: a rule, what it is about, how it came out, and who decides.

Imports `capex.units`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from capex.units import UnitSystem, quantity_text

__all__ = ["Finding", "Status"]

Status = Literal["pass", "ask", "fail"]


@dataclass(frozen=True)
class Finding:
    """One line of the list: a rule, what it is about, and how it came out.

    Parameters
    ----------
    status : {"pass", "ask", "fail"}
    rule : str
        What is asked for, in a few words.
    subject : str
        Machines and parts of the room that it is about.
    reason : str
        What was found, without figures.
    caution : str
        Who decides, and what to mind.
    source, locator : str
        Id in ``data/sources.csv`` and the place in that source; empty where the study itself asks.
    found, needed : float or None
        What is there and what is needed at least, in the canonical unit of `kind`.
    kind : str
        Name in `capex.units.KINDS`.
    machines : tuple of str
        Labels of the machines in `subject`.

    Examples
    --------
    >>> finding = Finding(
    ...     "fail", "Way out", "Printer", "the way out is too narrow", "The authority decides.",
    ...     found=0.6, needed=0.7112,
    ... )
    >>> finding.sentence("us_customary")
    'Printer: the way out is too narrow (23.6 in; at least 28 in)'
    """

    status: Status
    rule: str
    subject: str
    reason: str
    caution: str
    source: str = ""
    locator: str = ""
    found: float | None = None
    needed: float | None = None
    kind: str = "length"
    machines: tuple[str, ...] = ()

    def sentence(self, system: UnitSystem = "metric") -> str:
        """Return what was found, with its figures.

        Parameters
        ----------
        system : {"metric", "us_customary"}
        """
        given = [each for each in (self.found, self.needed) if each is not None]
        texts = [quantity_text(each, self.kind, system, digits=3) for each in given]
        if self.status == "fail" and len(set(texts)) < len(texts):  # it fails by less than shows
            texts = [quantity_text(each, self.kind, system, digits=6) for each in given]
        figures = texts if self.needed is None else [*texts[:-1], f"at least {texts[-1]}"]
        told = f"{self.subject}: {self.reason}"
        return f"{told} ({'; '.join(figures)})" if figures else told
