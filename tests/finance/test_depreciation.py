"""Methods of depreciation, and the tax itself."""

import shutil
import subprocess

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from money_rows import published
from openpyxl import Workbook

from capex.errors import InputError
from capex.finance.depreciation import (
    declining_balance,
    method_fractions,
    straight_line,
    sum_of_years,
    tax_payable,
)
from capex.finance.measures import net_present_value, periodic_discount_factors
from capex.study.catalogue import shipped_tax_regimes

METHODS = {
    "straight_line": straight_line,
    "declining_balance": declining_balance,
    "sum_of_years": sum_of_years,
}
LIVES = st.integers(1, 40)
SHARES = st.floats(0.0, 1.0)
INCOMES = st.lists(st.integers(-1000, 1000), min_size=1, max_size=15)


@published("straight_line", "declining_balance", "sum_of_years")
def test_published_methods(row):
    inputs = dict(row.inputs)
    cost, salvage = inputs.pop("cost"), inputs.pop("salvage", 0.0)
    claims = cost * METHODS[row.kind](salvage_share=salvage / cost, **inputs)
    row.check(claims[: len(row.expected)])


@published("after_tax_worth")
def test_published_after_tax_worth(row):
    cost, life, rate = row.inputs["cost"], row.inputs["life"], row.inputs["rate"]
    income = row.inputs["income"] - cost * METHODS[row.inputs["method"]](life)
    tax = tax_payable(income, row.inputs["tax_rate"], "absorbed")
    flows = np.concatenate([[-cost], row.inputs["income"] - tax])
    row.check(net_present_value(flows, periodic_discount_factors(rate, life)))


#: Cost, salvage value and life of what the spreadsheet engine depreciates.
DEPRECIATED = [
    (cost, salvage * cost, life)
    for cost in (50_000.0, 12_345.67)
    for salvage in (0.05, 0.1, 0.3)
    for life in (3, 5, 7, 10)
]
#: Its functions by the name of ours; {t} is the year.
FORMULAS = {
    "straight_line": "=SLN({cost},{salvage},{life})",
    "sum_of_years": "=SYD({cost},{salvage},{life},{t})",
    "double": "=DDB({cost},{salvage},{life},{t},2)",
    "one_and_a_half": "=DDB({cost},{salvage},{life},{t},1.5)",
    "double_switched": "=VDB({cost},{salvage},{life},{t}-1,{t},2)",
    "one_and_a_half_switched": "=VDB({cost},{salvage},{life},{t}-1,{t},1.5)",
    "fixed_rate": "=DB({cost},{salvage},{life},{t})",
}


@pytest.fixture(scope="module")
def spreadsheet(tmp_path_factory):
    """Return what a spreadsheet engine claims by method and case, a list of years each."""
    soffice = shutil.which("soffice")
    if soffice is None:
        pytest.skip("soffice is not installed: no spreadsheet engine to compare with")
    folder = tmp_path_factory.mktemp("spreadsheet")
    book, row = Workbook(), 0
    for formula in FORMULAS.values():
        for cost, salvage, life in DEPRECIATED:
            row += 1
            for t in range(1, life + 1):
                text = formula.format(cost=cost, salvage=salvage, life=life, t=t)
                book.active.cell(row, t, text).number_format = "0.00000000"
    book.save(folder / "book.xlsx")
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    command = [soffice, profile, "--headless", "--convert-to", "csv", "--outdir", str(folder)]
    subprocess.run(
        [*command, str(folder / "book.xlsx")], check=True, capture_output=True, timeout=300
    )
    lines = iter((folder / "book.csv").read_text(encoding="utf-8").splitlines())
    return {
        method: [
            [float(cell) for cell in next(lines).split(",")[:life]] for *_, life in DEPRECIATED
        ]
        for method in FORMULAS
    }


def _fixed_rate(life, share):
    """Return the claims at the rate that leaves the salvage value, rounded as the engine does."""
    rate = round(1.0 - share ** (1.0 / life), 3)
    return declining_balance(life, life * rate, switch=False)


@pytest.mark.parametrize(
    ("name", "ours"),
    [
        ("straight_line", straight_line),
        ("sum_of_years", sum_of_years),
        ("double", lambda life, share: declining_balance(life, 2.0, share, switch=False)),
        ("one_and_a_half", lambda life, share: declining_balance(life, 1.5, share, switch=False)),
        ("double_switched", lambda life, share: declining_balance(life, 2.0, share)),
        ("one_and_a_half_switched", lambda life, share: declining_balance(life, 1.5, share)),
        ("fixed_rate", _fixed_rate),
    ],
)
def test_against_the_functions_of_a_spreadsheet(spreadsheet, name, ours):
    for (cost, salvage, life), claims in zip(DEPRECIATED, spreadsheet[name], strict=True):
        computed = cost * ours(life, salvage / cost)
        np.testing.assert_allclose(computed, claims, rtol=0, atol=1e-7, err_msg=f"{cost} {life}")


@given(LIVES, st.floats(0.0, 0.9), st.floats(1.0, 3.0))
def test_law_salvage_is_never_claimed_and_switching_never_claims_later(life, salvage, multiple):
    switched = declining_balance(life, multiple, salvage)
    stayed = declining_balance(life, multiple, salvage, switch=False)
    assert switched.sum() == pytest.approx(1.0 - salvage, abs=1e-12)
    assert stayed.sum() <= 1.0 - salvage + 1e-12
    assert np.all(switched.cumsum() >= stayed.cumsum() - 1e-12)
    for method in (straight_line, sum_of_years):
        assert method(life, salvage).sum() == pytest.approx(1.0 - salvage, abs=1e-12)


@given(INCOMES, SHARES)
def test_law_waiting_for_relief_never_lowers_the_tax_paid_so_far(incomes, rate):
    carried = tax_payable(incomes, rate)
    absorbed = tax_payable(incomes, rate, "absorbed")
    unrelieved = rate * np.maximum(incomes, 0.0)
    assert np.all(carried >= 0.0)
    assert np.all(carried.cumsum() >= absorbed.cumsum() - 1e-9)
    assert np.all(carried <= unrelieved + 1e-9)


@given(INCOMES, SHARES)
def test_against_a_loss_account_kept_by_hand(incomes, rate):
    waiting, expected = 0, []
    for income in incomes:
        used = min(waiting, max(income, 0))
        waiting += max(-income, 0) - used
        expected.append(rate * (max(income, 0) - used))
    np.testing.assert_allclose(tax_payable(incomes, rate), expected, atol=1e-9)


@given(st.lists(st.integers(0, 1000), min_size=1, max_size=15), SHARES)
def test_law_without_losses_both_rules_agree(incomes, rate):
    np.testing.assert_allclose(
        tax_payable(incomes, rate), tax_payable(incomes, rate, "absorbed"), atol=1e-9
    )


def test_scenarios_have_their_own_rates():
    tax = tax_payable([[100.0, -50.0, 100.0], [100.0, -50.0, 100.0]], [0.2, 0.4])
    np.testing.assert_allclose(tax, [[20.0, 0.0, 10.0], [40.0, 0.0, 20.0]])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: method_fractions(shipped_tax_regimes()["uk_main_pool"]), "regime.*a pool"),
        (lambda: straight_line(0), "life.*1 year"),
        (lambda: tax_payable([1.0], 1.5), "tax_rate.*0 to 1"),
        (lambda: tax_payable([np.nan], 0.2), r"taxable_income\[0\]"),
        (lambda: tax_payable([1.0], 0.2, "forgotten"), "losses.*carried_forward"),
    ],
)
def test_refuses_bad_input(call, words):
    with pytest.raises(InputError, match=words):
        call()
