"""A reconciliation on the terminal: sums say of how many parts, steps add up, nothing is shown of nothing."""

import io
import re

from rich.console import Console
from test_finance_files import reconciled

from bomaudit.report.terminal_finance import show_reconciled


def shown(result) -> str:
    out = io.StringIO()
    show_reconciled(result, "pump", Console(file=out, width=80, no_color=True))
    return out.getvalue()


def test_each_sum_says_of_how_many_parts_and_which_way_it_counts():
    result = reconciled()
    text = shown(result)
    assert max(map(len, text.splitlines())) <= 80
    assert "positive where it costs more than the standard" in text
    either = (result.parts["ppv_realised"].notna() | result.parts["ppv_expected"].notna()).sum()
    assert re.search(rf"the whole year, both together\s+\S+\s+{either}\n", text)


def test_the_steps_shown_add_up_to_today():
    text = shown(reconciled())
    steps = text.partition("From standard to today, EUR per product\n")[2].partition("\n\n")[0].splitlines()
    *parts, today = [float(line.rpartition(" ")[2].replace(",", "")) for line in steps]
    assert abs(sum(parts) - today) < 0.005 * len(parts)
    assert [steps[0].split()[0], steps[-1].split()[0]] == ["standard", "today"]
    assert not re.search(r"\s[-+]?0\.00\n", text.partition("Proposed")[0].partition("From")[2])


def test_the_price_last_paid_stands_beside_the_standard_proposed():
    text = shown(reconciled())
    row = next(line for line in text.partition("Proposed standards")[2].splitlines() if line.startswith("S "))
    assert row.split()[1:4] == ["4.0000", "3.2000", "3.9000"]


def test_without_standards_it_says_so_and_shows_booked_costs_only():
    text = shown(reconciled(standards=()))
    assert "No standard cost was given" in text
    assert "From standard" not in text
    assert "Proposed standards" not in text
