"""Labels of machines of one name: all different, whatever the names are."""

from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st

from capex.shopfloor.labels import machine_labels, told_apart

names = st.lists(
    st.sampled_from(["A", "A (1)", "A (2)", "A (1) (1)", "B", "A (1.3 m)"]), max_size=7
)


@given(names)
def test_law_no_two_labels_are_alike_and_each_begins_with_its_name(given_names):
    labels = told_apart(given_names)
    assert len(set(labels)) == len(given_names)
    for name, label in zip(given_names, labels, strict=True):
        assert label.startswith(name)
        assert (label == name) == (given_names.count(name) == 1)


def test_machines_are_numbered_over_all_entries_of_an_alternative():
    cutter = {"machine": "cutter"}
    entries = [cutter | {"count": 2}, {"machine": "printer"}, cutter]
    study = hand_study(alternatives__frame__machines=entries)
    assert machine_labels(study, study.alternatives["frame"]) == (
        (0, "Cutter (1)"), (0, "Cutter (2)"), (1, "Printer"), (2, "Cutter (3)"),
    )  # fmt: skip
