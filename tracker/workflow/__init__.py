"""The verbs of the studio: what a page or a command asks for, each all done or not at all."""

from tracker.store import Receipt
from tracker.workflow.clients import add_client, answer_consent, edit_client, erase_client
from tracker.workflow.demo import has_demo, load_demo, remove_demo, sample_folder
from tracker.workflow.photos import DecodedPhotos, measure_record, remeasure, suggest_marks, take_in
from tracker.workflow.visits import discard_draft, keep_draft, record_progress, record_visit, start_draft

__all__ = [
    "DecodedPhotos",
    "Receipt",
    "add_client",
    "answer_consent",
    "discard_draft",
    "edit_client",
    "erase_client",
    "has_demo",
    "keep_draft",
    "load_demo",
    "measure_record",
    "record_progress",
    "record_visit",
    "remeasure",
    "remove_demo",
    "sample_folder",
    "start_draft",
    "suggest_marks",
    "take_in",
]
