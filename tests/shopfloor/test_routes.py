"""Routes and their loads worked out by hand in a shop of round figures (`hand_shop`)."""

import numpy as np
import pytest
from hand_shop import (
    CUT,
    DRY,
    FINISH,
    LAMINATE,
    LOAD,
    MARKS,
    PACK,
    PRINT,
    RELOAD,
    REWIND,
    TAKE_OFF,
    WEED,
    hand_study,
)

from capex.shopfloor.content import Contents
from capex.shopfloor.mix import job_mix
from capex.shopfloor.operations import MachineSet, operations
from capex.shopfloor.routes import routes

SET_UP = 300.0


def ways_of(study, key):
    return routes(Contents(study, job_mix(study)), study.alternatives[key])


def load_of(ways, v) -> dict[str, float]:
    return {place.key: float(ways.load[0, v, k]) for k, place in enumerate(ways.stations)}


def load_by_job(study, key) -> dict[str, dict[str, float]]:
    """Return loads by job type of an alternative with one route for each."""
    ways = ways_of(study, key)
    assert len(ways.each) == len(study.jobs)
    names = list(study.jobs)
    return {names[route.job]: load_of(ways, v) for v, route in enumerate(ways.each)}


def test_separate_machines_work_at_once_and_share_no_time():
    load = load_by_job(hand_study(), "keep")["plain"]
    assert load["printer.0"] == pytest.approx(LOAD + PRINT + TAKE_OFF)
    assert load["cutter.1"] == pytest.approx(RELOAD + MARKS + CUT + TAKE_OFF)
    assert load["laminator.2"] == 0
    by_hand = SET_UP + LOAD + 0.1 * PRINT + TAKE_OFF + RELOAD + 0.15 * CUT + TAKE_OFF
    assert load["operators"] == pytest.approx(by_hand)
    assert load["finishers"] == pytest.approx(WEED + FINISH + PACK)


def test_the_route_in_one_machine_holds_it_while_the_print_dries():
    load = load_by_job(hand_study(), "frame")["plain"]
    held = LOAD + PRINT + DRY + REWIND + MARKS + CUT + TAKE_OFF
    assert load["frame.0"] == pytest.approx(held)
    assert load["operators"] == pytest.approx(SET_UP + LOAD + 0.1 * PRINT + 0.15 * CUT + TAKE_OFF)


def test_a_longer_drying_time_holds_only_the_all_in_one():
    drier = hand_study(
        machines__frame__printing__drying_time="16 min",
        machines__printer__printing__drying_time="16 min",
    )
    before, after = hand_study(), drier
    for key, more in (("frame", 600.0), ("keep", 0.0)):
        one, other = load_by_job(before, key)["plain"], load_by_job(after, key)["plain"]
        gain = {place: other[place] - one[place] for place in one}
        assert sum(gain.values()) == pytest.approx(more)


def test_laminated_work_leaves_the_machine_free_while_it_outgasses():
    load = load_by_job(hand_study(), "frame")["laminated"]
    assert load["frame.0"] == pytest.approx(
        LOAD + PRINT + TAKE_OFF + RELOAD + MARKS + CUT + TAKE_OFF
    )
    assert load["laminator.1"] == pytest.approx(LAMINATE)
    longer = load_by_job(hand_study(inks__ink__outgassing_time="48 h"), "frame")["laminated"]
    assert longer == load


def test_laminated_work_comes_back_in_order():
    study = hand_study()
    mix = job_mix(study)
    done = operations(study, mix, MachineSet("frame", "laminator", "frame", in_one=True))
    names = [step.name for step in done.laminated]
    order = ["print", "unload the print", "outgas", "laminate", "load and register", "cut"]
    assert [name for name in names if name in order] == order
    outgas = done.laminated[names.index("outgas")]
    assert outgas.at is None
    assert outgas.wait[0].tolist() == [24 * 3600.0, 24 * 3600.0]
    assert outgas.busy.max() == outgas.attended.max() == 0


def test_a_set_up_is_shared_by_the_orders_of_a_run():
    alone, shared = hand_study(shop__handling__orders_per_run=1), hand_study()
    for key, machine, whole in (("keep", "printer.0", 270.0), ("keep", "cutter.1", 240.0)):
        one, two = (load_by_job(study, key)["plain"][machine] for study in (alone, shared))
        assert one - two == pytest.approx(whole / 2)


def test_spoiled_orders_are_made_again_from_the_start():
    spoiling = hand_study(
        shop__handling__printing_spoil=0.2, machines__cutter__cutting__spoil_reloaded=0.5
    )
    before, after = load_by_job(hand_study(), "keep"), load_by_job(spoiling, "keep")
    for place in before["plain"]:
        assert after["plain"][place] == pytest.approx(before["plain"][place] / (0.8 * 0.5))


def test_direct_costs_by_hand():
    study = hand_study(
        machines__cutter__cutting__blade_price=30, machines__cutter__cutting__blade_life="1 km",
        machines__printer__printing__head_price=1000, machines__printer__printing__head_life="1 L",
        shop__premises__electricity="0.36 USD/kWh", machines__printer__power_active="1 kW",
        shop__handling__media_waste=0.2,
    )  # fmt: skip
    ways = ways_of(study, "keep")
    film = 1.02 * 5 / 0.8
    laminate = 1.02 * 3 / 0.8
    ink = 1.0 * 10e-3 * 100
    heads = 1.0 * 10e-3 * 1000
    blades = 4 * 2 / 1000 * 30
    power = 0.36 / 3.6e6 * 1000 * (LOAD + PRINT + TAKE_OFF)
    expected = film + ink + heads + blades + power
    assert ways.direct_cost[0] == pytest.approx([expected, expected + laminate])


def test_print_only_and_cut_only_work_use_one_machine():
    study = hand_study(
        jobs__plain__cut=None, jobs__laminated__film=None, jobs__laminated__laminate=None,
        jobs__laminated__laminated=0, jobs__laminated__cut_material="vinyl",
    )  # fmt: skip
    load = load_by_job(study, "keep")
    assert load["plain"]["printer.0"] == pytest.approx(LOAD + PRINT + TAKE_OFF)
    assert load["plain"]["cutter.1"] == 0
    assert load["laminated"]["printer.0"] == 0
    assert load["laminated"]["cutter.1"] == pytest.approx(RELOAD + CUT + TAKE_OFF)


OVERNIGHT = {"shop__hours__overnight_per_day": "4 h", "jobs__plain__unattended_overnight": True}


def test_overnight_takes_the_print_from_the_day_and_needs_nobody():
    ways = ways_of(hand_study(**OVERNIGHT), "keep")
    day, night = (v for v, route in enumerate(ways.each) if route.job == 0)
    by_day, by_night = load_of(ways, day), load_of(ways, night)
    assert by_night["printer.0.overnight"] == pytest.approx(PRINT)
    assert by_night["printer.0"] == pytest.approx(by_day["printer.0"] - PRINT)
    assert by_night["operators"] == pytest.approx(by_day["operators"] - 0.1 * PRINT)
    assert by_night["cutter.1"] == by_day["cutter.1"]


TWO_FRAMES = {
    "alternatives__frame__machines": [
        {"machine": "frame"}, {"machine": "frame"}, {"machine": "laminator", "owned": True},
    ],
}  # fmt: skip


def test_work_that_moves_between_two_frames_of_one_model_is_carried_and_loaded_again():
    ways = ways_of(hand_study(**TWO_FRAMES), "frame")
    crossing = [v for v, r in enumerate(ways.each) if r.job == 0 and (r.print, r.cut) == (0, 1)]
    load = load_of(ways, crossing[0])
    assert load["frame.0"] == pytest.approx(LOAD + PRINT + TAKE_OFF)
    assert load["frame.1"] == pytest.approx(RELOAD + MARKS + CUT + TAKE_OFF)


def test_law_no_route_frees_a_machine():
    long_cut = {"jobs__plain__cut__length": "200 m"}
    ways = ways_of(hand_study(**TWO_FRAMES, **OVERNIGHT, **long_cut), "frame")
    assert any(route.overnight and route.print != route.cut for route in ways.each)
    assert ways.load.min() >= 0


def test_law_cut_only_work_does_not_depend_on_other_machines():
    cut_only = {
        "jobs__plain__film": None, "jobs__plain__cut_material": "vinyl",
        "machines__frame__cutting__spoil_direct": 0.5,
    }  # fmt: skip
    machines = [{"machine": "frame"}, {"machine": "printer"}, {"machine": "laminator"}]
    loads = []
    for order in (machines, [machines[1], machines[0], machines[2]]):
        ways = ways_of(hand_study(**cut_only, alternatives__frame__machines=order), "frame")
        (v,) = [v for v, route in enumerate(ways.each) if route.job == 0]
        loads.append(load_of(ways, v)[f"frame.{order.index(machines[0])}"])
    assert loads[0] == pytest.approx(loads[1])


def test_a_machine_too_narrow_makes_no_route():
    ways = ways_of(hand_study(machines__cutter__cutting__cut_width="0.4 m"), "keep")
    assert not ways.makeable.any()


def test_a_narrower_roll_prints_longer():
    # 0.9 m usable: one piece across, 4 rows of 0.5 m, so 2 m long and 0.5 m wide.
    ways = ways_of(hand_study(machines__printer__printing__print_width="0.9 m"), "keep")
    content = ways.contents[0].operations.layout
    assert content.printed_length[0, 0] == pytest.approx(2.0)
    swaths = 2.0 * 4 / 0.1 + 3
    load = load_of(ways, 0)["printer.0"]
    roll_change = 360 * 2.0 / 50 - 360 * 1.0 / 50
    assert load == pytest.approx(LOAD + roll_change + swaths * (0.5 + 0.5 + 0.5) + TAKE_OFF)
    assert not np.isnan(ways.load).any()
