"""The order book: read a spreadsheet, group its orders, put the groups into a study.

sheet → columns → rows (numbers, cells, dates, words) → book → kinds, rates → grouping →
job_types → into_study. Import it only where an order book is used: pandas takes half a second.
May import pandas, `capex.errors` and `capex.study`.
"""

from capex.study.orders.book import OrderBook, found_columns, read_order_book
from capex.study.orders.columns import ColumnMapping, ColumnMatch
from capex.study.orders.grouping import OrderGroup, OrderGroups, grouped_job_types
from capex.study.orders.into_study import study_with_orders
from capex.study.orders.job_types import job_types, shop_seasonality
from capex.study.orders.rates import Growth, Span
from capex.study.orders.rows import UnreadRow

__all__ = [
    "ColumnMapping",
    "ColumnMatch",
    "Growth",
    "OrderBook",
    "OrderGroup",
    "OrderGroups",
    "Span",
    "UnreadRow",
    "found_columns",
    "grouped_job_types",
    "job_types",
    "read_order_book",
    "shop_seasonality",
    "study_with_orders",
]
