"""What the studio keeps: records in one SQLite file, pictures beside it."""

from tracker.store.clients import ClientSummary, LastPhoto
from tracker.store.erasure import Erasure, Receipt
from tracker.store.folder import data_folder
from tracker.store.portfolio import PortfolioEntry
from tracker.store.restore import restore
from tracker.store.rows import DamagedRecord
from tracker.store.store import QUOTA_BYTES, Store, Usage

__all__ = [
    "QUOTA_BYTES",
    "ClientSummary",
    "DamagedRecord",
    "Erasure",
    "LastPhoto",
    "PortfolioEntry",
    "Receipt",
    "Store",
    "Usage",
    "data_folder",
    "restore",
]
