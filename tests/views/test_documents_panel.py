"""The buttons of the bank page: each hands out what it says, of the choice that is shown."""

import io
import re

import pypdf
import pytest

from capex.study import StudyFile, data_folder
from capex.views.bank.documents_panel import DocumentsPanel
from capex.views.floor.state import FloorState

STUDY = data_folder() / "studies" / "quenlow.toml"
#: What a button makes, by its label: the method, and words in it for two machines bought.
MADE = {
    "Trial sheet (PDF)": ("_trial", ("Mid roll printer", "Mid contour cutter", "Timed by")),
    "Acceptance sheets (PDF)": (
        "_acceptance",
        ("Acceptance: Mid roll printer", "Acceptance: Mid contour cutter", "For the seller"),
    ),
    "Floor plan (PDF)": ("_plan", ("Floor plan: Separate machines", "Who decides")),
}


@pytest.mark.parametrize("label", MADE)
def test_a_button_hands_out_the_sheet_of_the_choice_shown(label: str) -> None:
    method, words = MADE[label]
    panel = DocumentsPanel(FloorState(StudyFile.read(STUDY), STUDY), lambda: "separate")
    panel.values["paper"] = "us-letter"
    name, kind, content = getattr(panel, method)()
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))
    assert (name[:16], kind) == ("quenlow_graphics", "application/pdf")
    assert all(each in text for each in words)
    assert {float(side) for side in pages[0].mediabox[2:]} == {612.0, 792.0}
