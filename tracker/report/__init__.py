"""The record for people and for other programs: tables with units, and a page that anyone can read."""

from tracker.report.page import ClientRecord, client_page
from tracker.report.tables import SheetTable, as_list, as_typed, columns_of, csv_lines, sheet_tables, to_csv

__all__ = [
    "ClientRecord",
    "SheetTable",
    "as_list",
    "as_typed",
    "client_page",
    "columns_of",
    "csv_lines",
    "sheet_tables",
    "to_csv",
]
