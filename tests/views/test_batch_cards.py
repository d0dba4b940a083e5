"""The cards of a batch: they claim what is proven, and say of a pace that it is one at best."""

import re
from dataclasses import replace
from html import unescape

import pytest

from capex.shopfloor.batch.gap import Gap
from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import Timeline, batch_timeline
from capex.study import Study
from capex.views.charts.picture import Look
from capex.views.floor.gap_picture import (
    batch_cards_html,
    gap_picture,
    ratios_html,
    sequence_text,
)
from capex.views.wording import Currency


@pytest.fixture(scope="module")
def look(demo: Study) -> Look:
    return Look(demo, "metric", Currency("USD"))


@pytest.fixture(scope="module")
def timeline(demo: Study) -> Timeline:
    return batch_timeline(demo, "all_in_one", [BatchEntry("sticker_sets")])


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)))


def card(timeline: Timeline, look: Look) -> str:
    return text_of(batch_cards_html(timeline, timeline, ["a"], look))


def test_a_card_says_that_none_is_shorter_only_where_that_is_proven(
    timeline: Timeline, look: Look
) -> None:
    assert timeline.is_shortest
    assert "none is shorter" in card(timeline, look)
    for above, said in ((2e-4, "less than 0.1% longer"), (0.04, "4.2% longer")):
        short = replace(timeline, lower_bound=timeline.makespan * (1.0 - above))
        found = card(short, look)
        assert "is shorter" not in found
        assert f"this one is {said}, a shorter one may exist" in found


def test_a_card_gives_the_pace_of_a_stream_as_one_at_best(timeline: Timeline, look: Look) -> None:
    found = card(timeline, look)
    assert "In a steady stream, at best one batch every" in found
    assert f"set by {timeline.streaming.bottleneck} if never waiting" in found
    assert "between two batches, each at best" in text_of(ratios_html(timeline, timeline, look))


def test_law_a_batch_never_ends_before_the_pace_of_its_stream(demo: Study) -> None:
    """Both count the same people; 20 and 20 orders keep the finishers busy without a break."""
    many = [BatchEntry("sticker_sets", orders=20), BatchEntry("fleet_badges", orders=20)]
    found = batch_timeline(demo, "separate", many, sequencing="as given")
    assert found.streaming.cycle_time <= found.makespan
    assert found.streaming_by_shift.cycle_time > found.makespan


def test_a_card_says_what_people_who_are_there_for_part_of_a_shift_do_to_the_pace(
    timeline: Timeline, look: Look, demo: Study
) -> None:
    assert "shift after shift" not in card(timeline, look)  # the machine is what it waits for
    staff = look.study.shop.people.finishers.likely
    assert 1 < staff < 2
    many = [BatchEntry("sticker_sets", orders=20), BatchEntry("fleet_badges", orders=20)]
    found = batch_timeline(demo, "separate", many, sequencing="as given")
    said = text_of(batch_cards_html(found, found, ["a", "b"], look))
    assert (
        "As in the batch, 2 Finishers count as there throughout, though over a shift they are "
        f"{staff:g}: shift after shift one every"
    ) in said
    assert "at best, set by Finishers" in said


def test_a_card_names_the_types_behind_the_numbers_of_its_sequence(demo: Study) -> None:
    batch = [BatchEntry("sticker_sets", orders=3), BatchEntry("banners")]
    found = replace(batch_timeline(demo, "separate", batch), sequence=(3, 0, 1, 2))
    assert sequence_text(found, ["Sticker sets", "Banners"]) == "Banners (4), Sticker sets (1–3)"


@pytest.mark.parametrize(("start", "end"), [(4512.0, 6876.0), (40529.0, 46771.0)])
def test_the_gap_said_is_that_of_the_times_said(start: float, end: float, look: Look) -> None:
    said = gap_picture(Gap(start, end, (), ()), "separate", "all_in_one", look).reading
    gap, long, short = (
        sum(float(number) * (60 if unit == "h" else 1) for number, unit in times)
        for times in (
            re.findall(r"([0-9.]+) (h|min)", part)
            for part in re.match(r"(.*) longer than (.*) against ([^)]*)", said).groups()  # type: ignore[union-attr]
        )
    )
    assert gap == pytest.approx(long - short)
