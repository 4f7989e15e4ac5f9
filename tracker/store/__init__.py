"""What the studio keeps: records in one SQLite file, pictures beside it."""

from tracker.store.archive import Archive, FolderArchive, ZipArchive
from tracker.store.aside_folder import LeftPicture
from tracker.store.backup_shelf import EXPIRE_AFTER, MOST, Backup, backups_of, check_backup
from tracker.store.clients import Absent, ClientSummary
from tracker.store.edits import Edit
from tracker.store.erasure import Counts, Erasure
from tracker.store.folder import data_folder
from tracker.store.merging import Merged
from tracker.store.photos import CardUse
from tracker.store.place import NETWORK, SYNCED, place_risk
from tracker.store.portfolio import PortfolioEntry
from tracker.store.remeasuring import LeftPhoto, OlderReadings
from tracker.store.restore import erasures_in, restore
from tracker.store.room import NEARLY_FULL_VISITS, Room
from tracker.store.searching import Found
from tracker.store.set_aside import ASK_AFTER
from tracker.store.store import Store
from tracker.store.undo import Deletion
from tracker.store.wearing import ClientRecord

__all__ = [
    "ASK_AFTER",
    "EXPIRE_AFTER",
    "MOST",
    "NEARLY_FULL_VISITS",
    "NETWORK",
    "SYNCED",
    "Absent",
    "Archive",
    "Backup",
    "CardUse",
    "ClientRecord",
    "ClientSummary",
    "Counts",
    "Deletion",
    "Edit",
    "Erasure",
    "FolderArchive",
    "Found",
    "LeftPhoto",
    "LeftPicture",
    "Merged",
    "OlderReadings",
    "PortfolioEntry",
    "Room",
    "Store",
    "ZipArchive",
    "backups_of",
    "check_backup",
    "data_folder",
    "erasures_in",
    "place_risk",
    "restore",
]
