"""Parallel servers: a solved birth-and-death process, and the approximation held against them."""

import numpy as np
import pytest

from capex.shopfloor.erlang import delay_probability, exponential_queue_time, idle_probability
from capex.shopfloor.waiting import queue_time


def test_against_erlang_one_server_is_exact():
    busy = np.linspace(0.0, 0.99, 100)
    assert queue_time(1.0, busy) == pytest.approx(exponential_queue_time(1.0, busy, 1), rel=1e-12)


@pytest.mark.parametrize("servers", [2, 3, 5, 8, 12])
def test_against_erlang_the_approximation_for_parallel_servers_is_close(servers):
    """Within 4 % of a process time everywhere, and within 4 % of the wait at a busy station."""
    busy = np.linspace(0.01, 0.995, 400)
    exact = exponential_queue_time(1.0, busy, servers)
    close = queue_time(1.0, busy, servers=servers)
    assert np.abs(close - exact).max() < 0.04
    crowded = busy >= 0.85
    assert np.abs(close / exact - 1)[crowded].max() < 0.04


@pytest.mark.parametrize("servers", [1, 2, 4, 9])
def test_against_a_solved_birth_and_death_process(servers):
    busy, most = 0.7, 400
    chances = [1.0]
    for number in range(1, most):
        chances.append(chances[-1] * busy * servers / min(number, servers))
    whole = sum(chances)
    waiting = sum(max(n - servers, 0) * p for n, p in enumerate(chances)) / whole
    assert idle_probability(busy, servers) == pytest.approx(1 / whole, rel=1e-12)
    assert delay_probability(busy, servers) == pytest.approx(
        sum(chances[servers:]) / whole, rel=1e-12
    )
    assert exponential_queue_time(1.0, busy, servers) * busy * servers == pytest.approx(
        waiting, rel=1e-12
    )
