"""One study of many: from the bytes of its file to the rows of a table, one an alternative.

A row holds texts, numbers and None only, so that it comes back from its file to the last bit. A
study that cannot be appraised has one row with the reason.

Imports `capex.errors`, `capex.study` and, of this folder, `chances`, `simulation` and `summary`.
"""

from __future__ import annotations

import math
from typing import Final

from capex.decision.risk.chances import Estimate
from capex.decision.risk.simulation import simulate
from capex.decision.risk.summary import ChoiceRisk, RiskSummary, risk_summary
from capex.errors import CapexError, StudyError
from capex.study import StudyFile

__all__ = ["COLUMNS", "Cell", "Row", "refusal", "study_rows"]

Cell = str | int | float | None
Row = dict[str, Cell]

#: Of the table, beside the name of the file. Chances are fractions, money in `currency`.
COLUMNS: Final = (
    "state", "reason", "shop", "currency", "draws", "seed", "uncertain_inputs",
    "alternative", "name", "baseline",
    "chance_best", "chance_best_error", "chance_below_baseline", "chance_below_baseline_error",
    "gain_mean", "gain_mean_error", "gain_p5", "gain_p50", "gain_p95",
    "regret_mean", "regret_mean_error", "dominated_by",
    "cover_asked", "chance_cover_short", "chance_cover_short_error",
    "worst_cash_p5", "worst_cash_p50", "worst_cash_p95",
    "payback_p5_years", "payback_p50_years", "payback_p95_years",
    "chance_not_paid_back", "chance_not_paid_back_error",
    "knowing_everything", "knowing_everything_error",
    "most_worth_knowing", "knowing_it", "knowing_it_error", "notes",
)  # fmt: skip


def refusal(reason: str, *, state: str = "not appraised") -> list[Row]:
    """Return the one row of a study that has no figures.

    Parameters
    ----------
    reason : str
    state : str

    Examples
    --------
    >>> row = refusal("cannot be read")[0]
    >>> row["state"], row["reason"], row["gain_mean"]
    ('not appraised', 'cannot be read', None)
    """
    return [dict.fromkeys(COLUMNS) | {"state": state, "reason": reason}]


def study_rows(content: bytes, count: int, seed: int | None) -> tuple[list[Row], bool]:
    """Return the rows of a study, and whether they would be the same another time.

    Parameters
    ----------
    content : bytes
        Of the study file.
    count : int
        Draws.
    seed : int or None
        By default the study's own.

    Returns
    -------
    tuple of (list of dict, bool)
        One row an alternative, in the order of the study; one with the reason where there are no
        figures. Not lasting: what failed for a reason outside the study.

    Examples
    --------
    >>> from capex.study import data_folder
    >>> file = data_folder() / "studies" / "quenlow.toml"
    >>> rows, lasting = study_rows(file.read_bytes(), 32, seed=7)
    >>> len(rows), rows[0]["seed"], lasting
    (4, 7, True)
    """
    try:
        study = StudyFile.parsed(content.decode("utf-8-sig")).study
        return _rows(risk_summary(simulate(study, count, seed=seed))), True
    except UnicodeDecodeError:
        return refusal("is not UTF-8 text"), True
    except StudyError as error:
        first, more = error.problems[0], len(error.problems) - 1
        others = f" (and {more} more problem{'s' if more > 1 else ''})" if more else ""
        return refusal(f"{first}{others}"), True
    except CapexError as error:
        return refusal(str(error)), True
    except Exception as error:  # one study must not end the run of hundreds
        return refusal(f"{type(error).__name__}: {error}", state="failed"), False


def _rows(said: RiskSummary) -> list[Row]:
    found = said.simulation
    study, known = found.study, said.knowing[0] if said.knowing else None
    whole: Row = {
        "state": "appraised",
        "shop": study.shop_name,
        "currency": study.currency,
        "draws": found.draws.count,
        "seed": found.draws.seed,
        "uncertain_inputs": len(found.draws.inputs),
        "cover_asked": study.money.lender.minimum_cover.likely,
        **_estimate("knowing_everything", said.knowing_everything),
        "most_worth_knowing": known.path if known and known.worth.value > 0.0 else None,
        **_estimate("knowing_it", known.worth if known and known.worth.value > 0.0 else None),
    }
    return [dict.fromkeys(COLUMNS) | whole | _choice(said, choice) for choice in said.choices]


def _choice(said: RiskSummary, choice: ChoiceRisk) -> Row:
    above = [pair.one for pair in said.dominances if pair.other == choice.key and pair.order == 1]
    row: Row = {
        "alternative": choice.key,
        "name": choice.name,
        "baseline": "yes" if choice.baseline else "no",
        "dominated_by": ", ".join(above),
        "notes": "; ".join(_notes(choice)),
        **_estimate("chance_best", choice.best),
        **_estimate("chance_below_baseline", choice.loses),
        **_estimate("gain_mean", choice.mean),
        **_estimate("regret_mean", choice.regret),
        **_estimate("chance_cover_short", choice.cover_falls_short),
        **_estimate("chance_not_paid_back", choice.not_paid_back),
    }
    for level, gain, cash, years in zip(
        ("p5", "p50", "p95"), choice.gain, choice.worst_cash, choice.payback, strict=True
    ):
        paid = math.isfinite(years) and not choice.baseline
        row |= {f"gain_{level}": gain, f"worst_cash_{level}": cash}
        row[f"payback_{level}_years"] = years if paid else None
    return row


def _notes(choice: ChoiceRisk) -> list[str]:
    """Return why cells are empty."""
    notes = []
    if choice.cover_falls_short is None:
        notes.append("no cover: nothing is due to a lender")
    if choice.baseline:
        notes.append("no payback: it is the baseline")
    elif not all(map(math.isfinite, choice.payback)):
        notes.append("an empty payback is one not within the horizon")
    return notes


def _estimate(name: str, found: Estimate | None) -> Row:
    value, error = (None, None) if found is None else (found.value, found.error)
    return {name: value, f"{name}_error": error}
