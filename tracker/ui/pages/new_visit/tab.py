"""What this window knows about its draft: what another window changes is reported and never overwritten."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime

from tracker.measure.reading import Marks
from tracker.record.agreed import NOTHING_AGREED
from tracker.record.records import Draft, PhotoRecord, Visit
from tracker.ui.parts.held import found, put
from tracker.ui.parts.opening import note_draft_open
from tracker.words import ROLE_WORDS, count
from tracker.workflow.drafts import PARTS, Changed, Seen, parts_unlike, with_part

PART_WORDS = {
    "date": "date",
    "services": "services",
    "history": "hair history",
    "start": "starting point",
    "steps": "steps",
    "agreed": "what was agreed",
    "note": "note",
    "next": "next time",
}


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing of which two windows have different versions.

    Attributes
    ----------
    mine, theirs : Visit or PhotoRecord, that hold both versions
    shows_mine : bool, True where this window's version is on the screen and in the draft, else the other's
    """

    mine: Visit | PhotoRecord
    theirs: Visit | PhotoRecord
    shows_mine: bool


@dataclass
class News:
    """What another window changed.

    Attributes
    ----------
    at : datetime, of the last of these changes
    told : what was changed, in words, as a set with an order
    choices : by the name of a part of the visit or the identifier of a photo
    announced : datetime or None, the `at` that was last announced to the person
    """

    at: datetime
    told: dict[str, None] = field(default_factory=dict)
    choices: dict[str, Choice] = field(default_factory=dict)
    announced: datetime | None = None


@dataclass
class Tab:
    """One window on a draft, for as long as the page stays open.

    Attributes
    ----------
    draft : Draft, as this window knew it last
    step : int, where this window is: another one may be elsewhere
    first : Visit or None, what the fields of the last step began with; None while they are not shown
    words : Seen or None, what those fields and the draft held when they last agreed
    turns : how often a field was restarted with what another window wrote, by the name of the field
    fresh : parts of the visit whose fields start afresh in this run
    marks : for each photo the marks as the editor told them last, and as the draft had them then
    chosen : light and card as their fields read last
    news : what another window changed since the person was last asked, or None
    """

    draft: Draft
    step: int
    first: Visit | None = None
    words: Seen | None = None
    turns: Counter[str] = field(default_factory=Counter)
    fresh: set[str] = field(default_factory=set)
    marks: dict[str, tuple[Marks, Marks]] = field(default_factory=dict)
    chosen: dict[str, object] = field(default_factory=dict)
    news: News | None = None

    def key(self, name: str, turn: str) -> str:
        """Key of a field of this draft, a new one each time the field starts afresh."""
        number = self.turns[turn]
        return f"{name}-{self.draft.id}-{number}" if number else f"{name}-{self.draft.id}"

    def hear(self, draft: Draft) -> None:
        """Take note of what another window did to the draft."""
        told = different(self.draft, draft)
        self.draft = draft
        if told:
            news = self._news(draft)
            news.told |= dict.fromkeys(told)

    def met(self, changed: Changed) -> None:
        """Take note of a change that was made here, and of what it met."""
        if changed.before.revision != self.draft.revision:
            self.hear(changed.before)
        self.draft = changed.draft
        for name in changed.clashes:
            self._clash(name, changed)

    def in_step(self, read: Visit, kept: Visit) -> bool:
        """Note what the fields read and what the draft has; False where fields must start afresh to show it."""
        words = self.words or Seen(read, kept)
        touched = parts_unlike(read, words.read)
        behind = [name for name in parts_unlike(kept, words.kept) if name not in touched]
        for name in behind:
            self.show_part(name, kept)
            if not _holds(kept, read, name):
                choices = self._news(self.draft).choices
                asked = choices.get(name)
                # the first version here is the one that may be wanted back, however often it was replaced since
                mine = asked.mine if asked is not None and not asked.shows_mine else read
                choices[name] = Choice(mine, kept, shows_mine=False)
        self.words = Seen(read, kept)
        return not behind

    def begun(self, read: Visit, kept: Visit) -> Seen:
        """What the fields held when last in step; those that started in this run count from what they first read."""
        self.words = self.words or Seen(read, kept)
        for name in self.fresh:
            self.words = Seen(with_part(self.words.read, name, read), self.words.kept)
        self.fresh.clear()
        return self.words

    def show_part(self, name: str, visit: Visit) -> None:
        """Start the fields of one part afresh with what the visit has."""
        if self.first is not None:
            self.first = with_part(self.first, name, visit)
        self.turns[name] += 1
        self.fresh.add(name)

    def shown(self, name: str, visit: Visit) -> None:
        """Note that this window's fields of one part are to show what the draft has now."""
        self.show_part(name, visit)
        if self.words is not None:
            self.words = Seen(with_part(self.words.read, name, visit), with_part(self.words.kept, name, visit))

    def _clash(self, name: str, changed: Changed) -> None:
        if name in PARTS:
            mine: Visit | PhotoRecord | None = changed.draft.visit
            theirs: Visit | PhotoRecord | None = changed.before.visit
        else:
            mine, theirs = _photo(changed.draft, name), _photo(changed.before, name)
        if mine is not None and theirs is not None:
            self._news(changed.before).choices[name] = Choice(mine, theirs, shows_mine=True)

    def _news(self, draft: Draft) -> News:
        if self.news is None:
            self.news = News(draft.updated_at)
        self.news.at = max(self.news.at, draft.updated_at)
        return self.news


def tab_of(draft: Draft, *, anew: bool = False) -> Tab:
    """This window on the draft; a new one where the page was opened `anew`."""
    held = None if anew else found(Tab, draft.id)
    if held is None:
        held = put(Tab(draft, draft.step), draft.id)
    note_draft_open(draft.id)
    return held


def different(before: Draft, after: Draft) -> list[str]:
    """What differs between two states of a draft, in words; the step it was left at does not matter."""
    was, became = ({photo.id: photo for photo in draft.photos} for draft in (before, after))
    added, removed = became.keys() - was.keys(), was.keys() - became.keys()
    told = [f"{count(len(added), 'photo')} added"] if added else []
    told += [f"{count(len(removed), 'photo')} removed"] if removed else []
    for photo in after.photos:
        other = was.get(photo.id)
        if other is not None and other != photo:
            told += [f"{thing} of the {ROLE_WORDS[photo.role].lower()} photo" for thing in _changed(other, photo)]
    if after.visit is not None and before.visit is not None:
        told += [PART_WORDS[name] for name in parts_unlike(before.visit, after.visit)]
    elif after.visit is not None:
        told.append("what was done")
    return list(dict.fromkeys(told))


def _changed(one: PhotoRecord, other: PhotoRecord) -> list[str]:
    things = {
        "light": one.light != other.light,
        "note on the card": one.card_stood != other.card_stood,
        "note on combing": one.combed_anew != other.combed_anew,
        "marks": one.marks != other.marks,
    }
    return [thing for thing, changed in things.items() if changed] or ["measurement"]


def _photo(draft: Draft, photo_id: str) -> PhotoRecord | None:
    return next((photo for photo in draft.photos if photo.id == photo_id), None)


def _holds(kept: Visit, read: Visit, name: str) -> bool:
    """True where everything in the fields of a part is also in what replaces it, so nothing need be asked."""
    for attribute in PARTS[name]:
        was, became = getattr(read, attribute), getattr(kept, attribute)
        if isinstance(was, str) and was not in became:
            return False
        if isinstance(was, tuple) and not set(was) <= set(became):
            return False
        if not isinstance(was, str | tuple) and was not in (became, None, NOTHING_AGREED):
            return False
    return True
