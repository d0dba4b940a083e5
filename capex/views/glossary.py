"""The terms of the field as the screens use them, each explained once.

Every page marks them in its own words (``static/terms.js``), and the page of terms lists them. May
import nothing of capex.
"""

from __future__ import annotations

from typing import Final, NamedTuple

__all__ = ["TERMS", "Term"]


class Term(NamedTuple):
    """A term with its explanation.

    Parameters
    ----------
    name : str
        As the page of terms lists it.
    words : str
        What it means here, in one or two sentences.
    forms : tuple of str
        Other ways in which the pages write it, plurals too. Capital letters make no difference.
    """

    name: str
    words: str
    forms: tuple[str, ...] = ()


_MONEY: Final = (
    Term(
        "net present value",
        "All money in and out until the horizon, each amount brought back to the day of decision "
        "at the discount rate, then added up. Above zero: more than that rate asks for.",
        ("NPV",),
    ),
    Term(
        "NPV gain",
        "The net present value of a choice less that of the baseline: what deciding for it leaves.",
    ),
    Term(
        "baseline",
        "The choice that the others are measured against, usually: keep things as they are.",
    ),
    Term(
        "discount rate",
        "The return a year that your money could bring elsewhere at a like risk. The higher it is, "
        "the less an amount counts that comes later.",
    ),
    Term(
        "horizon",
        "The last day that is looked at. Machines count with what they would fetch then, and what "
        "is still owed is repaid.",
    ),
    Term(
        "payback",
        "The time until the money earned has made up for the money spent, for good. It says how "
        "long money is at risk, not which choice is best. Simple payback leaves interest out.",
        ("payback period", "paybacks"),
    ),
    Term(
        "internal rate of return",
        "The discount rate at which a choice leaves neither more nor less than the baseline.",
        ("IRR",),
    ),
    Term(
        "modified return",
        "The yearly return if all money that comes in is put aside at the discount rate until the "
        "horizon; unlike the internal rate of return there is never more than one.",
        ("MIRR", "modified internal rate of return"),
    ),
    Term(
        "level cost a year",
        "The same amount every year that costs as much, in today's money, as buying, keeping and "
        "selling a machine. It makes machines of unequal lives comparable.",
        ("equivalent annual cost", "level cost", "level year"),
    ),
    Term(
        "nominal money",
        "Amounts as they are paid on their day, rises of prices and wages included.",
        ("nominal",),
    ),
    Term(
        "today's money",
        "Later amounts brought back to the day of decision at the discount rate.",
    ),
    Term(
        "contribution",
        "What sales leave after the costs that come with the work: material, ink and work bought "
        "in. Wages, rent and the machines are paid from it.",
    ),
    Term(
        "working capital",
        "Money tied up in stock and unpaid invoices; more sales tie up more. It comes back at the "
        "horizon.",
    ),
    Term("resale", "What a machine fetches when it is sold, at the age it has reached."),
    Term(
        "depreciation",
        "The part of a machine's price that counts as a cost for tax in a year. It is no money "
        "paid; it moves only the tax.",
    ),
    Term(
        "MACRS",
        "The schedule by which business equipment is written off for federal income tax in the "
        "United States. Ask your accountant which rules apply to you.",
    ),
    Term(
        "half-year convention",
        "A tax rule that counts every purchase of a year as made in its middle, so that the first "
        "year brings half a year of depreciation.",
    ),
    Term(
        "walk-away price",
        "The most that may be paid for a machine: above it another choice leaves more, or the "
        "lender's limit is passed.",
        ("walk-away prices", "most to pay"),
    ),
    Term(
        "break-even",
        "The value of an input at which two choices leave the same, all other inputs as they are.",
        ("break-evens",),
    ),
    Term(
        "break-even volume",
        "The break-even of the number of orders: below it one choice leaves most, above it "
        "another; also called the crossover. It is not the volume at which cover is 1, from which "
        "on the debt can be paid.",
        ("break-even volumes",),
    ),
)
_LENDING: Final = (
    Term(
        "repayment cover",
        "Cash from the business in a year over what is due to lenders in it. 1.25 means: a quarter "
        "more comes in than has to go out.",
        ("cover ratio", "cover", "debt service cover"),
    ),
    Term(
        "debt service",
        "Interest and repayments due in a period. Fees, and what is repaid at the horizon, are "
        "left out.",
    ),
    Term(
        "loan to value",
        "What is still owed, as a share of what the machines that were bought would fetch.",
    ),
    Term("principal", "The part of a payment that repays the loan; the rest is interest."),
    Term("balloon", "A large last payment that clears what smaller payments have left of a loan."),
    Term(
        "APR",
        "Annual percentage rate: twelve times the monthly rate at which the payments and fees of "
        "an offer are worth what it lends.",
    ),
    Term(
        "effective rate",
        "What a year costs when the interest of each month bears interest in the next.",
    ),
    Term(
        "owner's draws",
        "Money that the owner takes out to live on. It is no cost of the business, but it is gone "
        "before a lender is paid.",
        ("owner’s draws",),
    ),
    Term(
        "stress case",
        "The same study with something going worse, such as fewer orders or a dearer loan.",
        ("stress cases",),
    ),
)
_CHANCE: Final = (
    Term(
        "swing",
        "How far a result moves when one input goes from its low to its high value and all others "
        "stay.",
        ("swings",),
    ),
    Term(
        "P5 to P95",
        "The range that holds nine in ten results: one in twenty lies below, one in twenty above.",
        ("P5", "P95", "P5–P95"),
    ),
    Term(
        "P10 to P90",
        "The range that holds eight in ten values: one in ten lies below it, one in ten above.",
        ("P10", "P90", "P10–P90"),
    ),
    Term("P50", "The middle: half of the results lie below it, half above.", ("median",)),
    Term(
        "draw",
        "One set of values for all uncertain inputs, each taken from its range; the whole study is "
        "worked out for every draw.",
        ("draws",),
    ),
    Term(
        "expected value of perfect information",
        "What it would be worth, on average, to know all uncertain inputs before deciding: no "
        "inquiry, trial or quotation is worth more.",
        ("EVPI", "worth of knowing"),
    ),
    Term(
        "Sobol indices",
        "The share of a result's uncertainty that comes from one input, alone or together with "
        "others.",
    ),
    Term(
        "rank correlation",
        "How far two inputs go up and down together: 1 always, 0 not at all, −1 opposite.",
    ),
    Term(
        "simulation error",
        "How much a figure would differ if other draws had been taken. More draws make it smaller.",
    ),
    Term(
        "95% interval",
        "A range found by a rule that holds the true value in 95 of 100 repetitions.",
        ("95 % interval", "95% confidence interval"),
    ),
    Term(
        "Student interval",
        "A range for a mean that is known from a few values only, wider the fewer they are and the "
        "more they scatter (by Student's distribution; ratios are taken by their logarithms).",
        ("Student intervals",),
    ),
    Term("residual", "What was measured less what the model says.", ("residuals",)),
)
_FLOOR: Final = (
    Term(
        "fullest station",
        "The machine or group of people with the largest share of its hours taken in any month: "
        "where work piles up first.",
        ("bottleneck", "tightest station"),
    ),
    Term("station", "A machine, or a group of people, through which orders pass.", ("stations",)),
    Term(
        "planned load",
        "The share of its hours to which a station is meant to be filled. Above it orders wait "
        "longer and longer.",
    ),
    Term(
        "lead time",
        "Working days from an order's arrival until it is done, waiting included.",
        ("lead times",),
    ),
    Term(
        "re-entrant",
        "Work that leaves a machine and comes back to it: laminated work leaves an all-in-one "
        "after printing and returns to be cut.",
    ),
    Term(
        "attended",
        "Minutes in which somebody stands at the machine; in unattended ones it runs by itself.",
        ("unattended",),
    ),
    Term("availability", "The share of its hours in which a machine is in order and can work."),
    Term(
        "changeover",
        "Taking one roll off and putting another on, with what is set up again.",
        ("changeovers",),
    ),
    Term(
        "gang",
        "Orders on the same film printed together in one run.",
        ("gangs", "gang run", "gang runs"),
    ),
    Term("spoil", "The share of the work that is no good and has to be made again.", ("remakes",)),
    Term("swath", "The strip that the print head covers in one trip.", ("swath height", "swaths")),
    Term("kiss-cut", "A cut through the film that leaves its backing whole.", ("kiss-cuts",)),
    Term("weed", "To pull off the film around what was cut.", ("weeding", "weeded")),
    Term(
        "mask",
        "To cover cut film with application tape, so that it can be moved in one piece.",
        ("masking", "application tape"),
    ),
    Term("overlaminate", "A clear film over the print that protects it.", ("laminate",)),
    Term("outgassing", "The hours in which solvent leaves the print before it can be laminated."),
    Term(
        "registration mark",
        "A mark printed beside the work from which a cutter finds where to cut.",
        ("registration marks",),
    ),
    Term("take-up", "The roll onto which printed film is wound behind the machine."),
    Term("bought in", "Made by another shop at a price for each order.", ("bought-in work",)),
    Term("ramp-up", "The months in which a new machine does not yet reach its full pace."),
)

#: All terms, in alphabetical order.
TERMS: Final[tuple[Term, ...]] = tuple(
    sorted((*_MONEY, *_LENDING, *_CHANCE, *_FLOOR), key=lambda term: term.name.lower())
)
