"""Find the sequences of data/published/sequencing.csv with a constraint solver: minutes, not CI.

Run it as a script: it prints a sequence for each of Taillard's instances 1 to 5, and its makespan.
The solver is told the published optimum as an upper bound, which halves its search.
"""

from constraint_models import flow_shop_sequence
from taillard_times import taillard_times

PUBLISHED = {
    873654221: 1278,
    379008056: 1359,
    1866992158: 1081,
    216771124: 1293,
    495070989: 1235,
}

if __name__ == "__main__":
    for seed, optimum in PUBLISHED.items():
        times = taillard_times(seed, 20, 5)
        print(seed, *flow_shop_sequence(times, at_most=optimum, seconds=300.0))  # noqa: T201
