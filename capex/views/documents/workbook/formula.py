"""Cell formulas with their values: what is written is worked out once, in both forms.

An expression is a text for each period of a sheet and the numbers it comes to, so that previewers,
which do not calculate, show the same figures. Only functions of Excel 2016 and earlier.

May import: numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

__all__ = ["Expression", "chosen", "function", "number", "total", "words"]

FloatArray = npt.NDArray[np.float64]
Operation = Callable[[FloatArray, FloatArray], FloatArray]

_COMPARED, _ADDED, _MULTIPLIED, _RAISED, _ATOM = range(5)


@dataclass(frozen=True)
class Expression:
    """Part of a formula.

    Parameters
    ----------
    text : callable
        Of a period's number, from 0; the same for all where the expression is one number.
    values : ndarray, shape () or (periods,)
        What it comes to; conditions are 0 and 1.
    binding : int
        How tightly its outermost operator binds.

    Examples
    --------
    >>> price = Expression(lambda period: "price", np.array(5.0))
    >>> orders = Expression(lambda period: f"{'ABC'[period]}7", np.array([1.0, 2.0, 3.0]))
    >>> found = -(orders + number(1)) * price
    >>> found.text(2), found.values.tolist()
    ('-(C7+1)*price', [-10.0, -15.0, -20.0])
    """

    text: Callable[[int], str]
    values: FloatArray
    binding: int = _ATOM

    def _within(self, least: int, period: int) -> str:
        """Return the text, in brackets where its operator binds less than `least`."""
        found = self.text(period)
        return found if self.binding >= least else f"({found})"

    def _joined(
        self, other: Expression, sign: str, binding: int, work: Operation, *, same: bool
    ) -> Expression:
        """Return two parts with an operator between; `same` where order does not matter."""
        right = binding if same else binding + 1

        def text(period: int) -> str:
            return f"{self._within(binding, period)}{sign}{other._within(right, period)}"

        return Expression(text, np.asarray(work(self.values, other.values)), binding)

    def __add__(self, other: Expression) -> Expression:
        return self._joined(other, "+", _ADDED, np.add, same=True)

    def __sub__(self, other: Expression) -> Expression:
        return self._joined(other, "-", _ADDED, np.subtract, same=False)

    def __mul__(self, other: Expression) -> Expression:
        return self._joined(other, "*", _MULTIPLIED, np.multiply, same=True)

    def __truediv__(self, other: Expression) -> Expression:
        def quotient(above: FloatArray, below: FloatArray) -> FloatArray:
            # a branch that is not taken may divide by 0
            there = np.broadcast_to(below != 0, np.broadcast_shapes(above.shape, below.shape))
            return np.divide(above, below, out=np.zeros(there.shape), where=there)

        return self._joined(other, "/", _MULTIPLIED, quotient, same=False)

    def __pow__(self, other: Expression) -> Expression:
        # both sides in brackets: spreadsheets and mathematics disagree on -a^b and a^b^c
        def text(period: int) -> str:
            return f"{self._within(_ATOM, period)}^{other._within(_ATOM, period)}"

        return Expression(text, np.power(self.values, other.values), _RAISED)

    def __neg__(self) -> Expression:
        def text(period: int) -> str:
            return f"-{self._within(_RAISED, period)}"

        return Expression(text, -self.values, _MULTIPLIED)

    def over(self, other: Expression, sign: str) -> Expression:
        """Return whether it compares with another as the sign says: ``>``, ``<``, ``>=``, ``=``."""
        return self._joined(other, sign, _COMPARED, _COMPARISONS[sign], same=False)


_COMPARISONS: Final[dict[str, Operation]] = {
    ">": lambda one, other: np.asarray(one > other, dtype=np.float64),
    "<": lambda one, other: np.asarray(one < other, dtype=np.float64),
    ">=": lambda one, other: np.asarray(one >= other, dtype=np.float64),
    "<=": lambda one, other: np.asarray(one <= other, dtype=np.float64),
    "=": lambda one, other: np.asarray(one == other, dtype=np.float64),
}


def number(value: float) -> Expression:
    """Return a number written out in a formula.

    Examples
    --------
    >>> number(12.0).text(0), number(-0.5).text(0)
    ('12', '(-0.5)')
    """
    plain = repr(int(value)) if value == int(value) else repr(float(value))
    text = f"({plain})" if value < 0 else plain
    return Expression(lambda _: text, np.array(float(value)))


def function(name: str, values: npt.ArrayLike, *parts: Expression | str) -> Expression:
    """Return a function of a spreadsheet over parts, with what it comes to.

    Parameters
    ----------
    name : str
    values : array_like, shape () or (periods,)
    *parts : Expression or str
        Text stands as it is: a range, or a text in quotation marks.
    """

    def text(period: int) -> str:
        inner = (part if isinstance(part, str) else part.text(period) for part in parts)
        return f"{name}({','.join(inner)})"

    return Expression(text, np.asarray(values, dtype=np.float64))


def chosen(condition: Expression, one: Expression, other: Expression) -> Expression:
    """Return one part where a condition holds, and the other where not.

    Examples
    --------
    >>> found = chosen(number(2).over(number(1), ">"), number(5), number(6))
    >>> found.text(0), float(found.values)
    ('IF(2>1,5,6)', 5.0)
    """
    values = np.where(condition.values != 0, one.values, other.values)
    return function("IF", values, condition, one, other)


def words(text: str) -> Expression:
    """Return a text where there is no number; it counts as NaN.

    Examples
    --------
    >>> words("none").text(0)
    '"none"'
    """
    return Expression(lambda _: f'"{text}"', np.array(np.nan))


def total(parts: Sequence[Expression]) -> Expression:
    """Return the sum of parts; 0 of none."""
    if not parts:
        return number(0)
    found = parts[0]
    for part in parts[1:]:
        found = found + part
    return found
