"""The verbs of the studio: what a page or a command asks for, each all done or not at all."""

from tracker.workflow.cards import card_size, note_card_size
from tracker.workflow.clients import add_client, answer_consent, edit_client, note_contact
from tracker.workflow.copies import look_like_copies, small_picture_of
from tracker.workflow.demo import has_demo, load_demo, remove_demo
from tracker.workflow.drafts import change_draft
from tracker.workflow.passing import (
    PassingPhoto,
    look_again_at,
    look_at,
    measure_passing,
    other_card_in,
    passing_card_fault,
)
from tracker.workflow.photos import (
    DecodedPhotos,
    card_fault,
    card_stood_last,
    measure_record,
    other_card,
    suggest_marks,
    take_in,
    too_small,
)
from tracker.workflow.prices import keep_price
from tracker.workflow.remeasuring import mark_anew, measure_again, remeasure
from tracker.workflow.steps import copied_steps, last_steps
from tracker.workflow.visits import (
    agree_limits,
    confirm_limits,
    keep_draft,
    last_agreed,
    record_progress,
    record_visit,
    start_draft,
)
from tracker.workflow.yardsticks import (
    add_shot,
    add_swatch,
    adopt_spread,
    adopt_swatches,
    drop_shots,
    drop_swatches,
    earlier_shots,
    locus_from,
    scale_from,
    shots_so_far,
    start_from,
    swatches_so_far,
    undo_yardstick,
)

__all__ = [
    "DecodedPhotos",
    "PassingPhoto",
    "add_client",
    "add_shot",
    "add_swatch",
    "adopt_spread",
    "adopt_swatches",
    "agree_limits",
    "answer_consent",
    "card_fault",
    "card_size",
    "card_stood_last",
    "change_draft",
    "confirm_limits",
    "copied_steps",
    "drop_shots",
    "drop_swatches",
    "earlier_shots",
    "edit_client",
    "has_demo",
    "keep_draft",
    "keep_price",
    "last_agreed",
    "last_steps",
    "load_demo",
    "locus_from",
    "look_again_at",
    "look_at",
    "look_like_copies",
    "mark_anew",
    "measure_again",
    "measure_passing",
    "measure_record",
    "note_card_size",
    "note_contact",
    "other_card",
    "other_card_in",
    "passing_card_fault",
    "record_progress",
    "record_visit",
    "remeasure",
    "remove_demo",
    "scale_from",
    "shots_so_far",
    "small_picture_of",
    "start_draft",
    "start_from",
    "suggest_marks",
    "swatches_so_far",
    "take_in",
    "too_small",
    "undo_yardstick",
]
