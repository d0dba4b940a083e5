"""The cards of a batch: they claim what is proven, and say of a pace that it is one at best."""

import re
from dataclasses import replace
from html import unescape

import pytest

from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import Timeline, batch_timeline
from capex.study import Study
from capex.views.charts.picture import Look
from capex.views.floor.gap_picture import batch_cards_html, ratios_html
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
