"""What the studio keeps: records in one SQLite file, pictures beside it."""

from tracker.store.archive import Archive, FolderArchive, ZipArchive
from tracker.store.aside_folder import LeftPicture
from tracker.store.backup_shelf import EXPIRE_AFTER, MOST, Backup, BackupCheck, backups_of, check_backup
from tracker.store.clients import Absent, ClientSummary
from tracker.store.disk_room import Usage
from tracker.store.edits import Edit
from tracker.store.erasure import Counts, Erasure
from tracker.store.exports import Export
from tracker.store.folder import data_folder
from tracker.store.merging import Merged
from tracker.store.place import NETWORK, SYNCED, place_risk
from tracker.store.portfolio import PortfolioEntry, PortfolioVisit
from tracker.store.restore import Restoration, erasures_in, restore
from tracker.store.room import NEARLY_FULL_VISITS, Room
from tracker.store.rows import DamagedRecord
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
    "BackupCheck",
    "ClientRecord",
    "ClientSummary",
    "Counts",
    "DamagedRecord",
    "Deletion",
    "Edit",
    "Erasure",
    "Export",
    "FolderArchive",
    "Found",
    "LeftPicture",
    "Merged",
    "PortfolioEntry",
    "PortfolioVisit",
    "Restoration",
    "Room",
    "Store",
    "Usage",
    "ZipArchive",
    "backups_of",
    "check_backup",
    "data_folder",
    "erasures_in",
    "place_risk",
    "restore",
]
