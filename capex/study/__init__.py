"""What the user knows: machines, jobs, shop, money and the alternatives between them.

The order book is imported on demand (`capex.study.orders`), as pandas takes its time.
Imports `capex.errors` and `capex.units`.
"""

from capex.study.alternatives import Alternative, Levers, Placement
from capex.study.catalogue import (
    data_folder,
    shipped_films,
    shipped_inks,
    shipped_machines,
    shipped_tax_regimes,
)
from capex.study.files import StudyFile, json_schema, read_study
from capex.study.jobs import Artwork, Circle, DescribedPath, JobType, Rectangle
from capex.study.machines import Film, Ink, Knife, Laminator, Machine, PrintEngine
from capex.study.money import Loan, MoneyPlan, Tax
from capex.study.offers import LeaseOffer, LoanOffer, Offer
from capex.study.quantity import Entry, Quantity, default
from capex.study.room import Door, ElectricalPanel, Obstacle, Position, Room, Side
from capex.study.shop import AfterPurchase, Handling, Hours, People, Premises, Shop
from capex.study.study import Study
from capex.study.tax import TaxRegime

__all__ = [
    "AfterPurchase",
    "Alternative",
    "Artwork",
    "Circle",
    "DescribedPath",
    "Door",
    "ElectricalPanel",
    "Entry",
    "Film",
    "Handling",
    "Hours",
    "Ink",
    "JobType",
    "Knife",
    "Laminator",
    "LeaseOffer",
    "Levers",
    "Loan",
    "LoanOffer",
    "Machine",
    "MoneyPlan",
    "Obstacle",
    "Offer",
    "People",
    "Placement",
    "Position",
    "Premises",
    "PrintEngine",
    "Quantity",
    "Rectangle",
    "Room",
    "Shop",
    "Side",
    "Study",
    "StudyFile",
    "Tax",
    "TaxRegime",
    "data_folder",
    "default",
    "json_schema",
    "read_study",
    "shipped_films",
    "shipped_inks",
    "shipped_machines",
    "shipped_tax_regimes",
]
