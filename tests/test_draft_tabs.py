"""Two windows on one draft: neither a photo nor a word of either is lost, whatever the order of what they do."""

from __future__ import annotations

import shutil
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from crash_studio import add_client, files_with, new_draft, new_photo, new_visit
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from tracker import workflow
from tracker.errors import Conflict, DraftChanged
from tracker.record.records import Client, Draft, PhotoRecord, Visit, to_json
from tracker.store import Store
from tracker.ui.pages.new_visit.news import with_versions
from tracker.ui.pages.new_visit.tab import Tab
from tracker.workflow.drafts import (
    Seen,
    at_step,
    parts_unlike,
    with_changed_photos,
    with_part,
    with_photos,
    with_words,
    without_photo,
)


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


@pytest.fixture
def client(store: Store) -> Client:
    return add_client(store)


def begun(store: Store, client: Client, note: str = "", photos: tuple[PhotoRecord, ...] = ()) -> Draft:
    return store.drafts.save(new_draft(client.id, new_visit(client.id, note=note), photos))


def noted(draft: Draft, note: str) -> Draft:
    assert draft.visit is not None
    return replace(draft, visit=replace(draft.visit, note=note))


# the store


def test_each_save_raises_the_revision_and_a_stale_one_is_refused_with_what_is_kept(
    store: Store, client: Client
) -> None:
    read = begun(store, client)
    theirs = store.drafts.save(noted(read, "theirs"))
    assert (read.revision, theirs.revision) == (1, 2)
    with pytest.raises(DraftChanged) as refused:
        store.drafts.save(noted(read, "mine"))
    assert refused.value.kept == theirs == store.drafts.get(read.id)


def test_a_draft_that_went_does_not_come_back_by_a_save(store: Store, client: Client) -> None:
    read = begun(store, client)
    store.drafts.delete(read.id)
    with pytest.raises(Conflict, match="another window"):
        store.drafts.save(read)
    assert store.drafts.find() == []


def test_a_draft_of_an_older_program_can_be_saved(store: Store, client: Client) -> None:
    read = begun(store, client)
    with store.database.engine.begin() as connection:
        old = to_json(read).replace(',"revision":1}', "}")
        assert '"revision":1}' not in old[-20:]
        connection.exec_driver_sql("UPDATE draft SET revision = 0, record = ?", (old,))
    assert store.drafts.save(store.drafts.get(read.id)).revision == 1


@pytest.mark.parametrize("kind", ["visit", "progress"])
def test_what_another_window_added_last_is_not_lost_with_the_draft(store: Store, client: Client, kind: str) -> None:
    one, two = (new_photo(store, client.id, name, role="progress") for name in (b"1", b"2"))
    read = store.drafts.save(replace(begun(store, client), kind=kind, photos=(one,)))
    added = store.drafts.save(replace(read, photos=(one, two)))
    with pytest.raises(DraftChanged):
        (workflow.record_visit if kind == "visit" else workflow.record_progress)(store, read)
    assert store.drafts.get(read.id) == added
    assert store.visits.of_client(client.id) == [] == store.photos.find(client_id=client.id)


def test_a_version_set_aside_goes_and_comes_back_with_the_draft_and_goes_with_the_client(
    store: Store, client: Client
) -> None:
    read = begun(store, client, "first")
    store.drafts.save(noted(read, "second"), apart=noted(read, "qxasideqx"))
    store.clients.change(client.id, lambda kept: replace(kept, note="changed since"))
    [line] = store.edits.find(record_id=read.id)
    assert (line.kind, line.what, line.before.visit.note) == ("draft", "set aside", "qxasideqx")
    deletion = store.drafts.delete(read.id)
    assert deletion is not None
    assert [each.before for each in store.edits.find(record_id=read.id)] == [None]
    store.deletions.put_back(deletion.token)
    assert "qxasideqx" in [each.before.visit.note for each in store.edits.find(record_id=read.id) if each.before]
    root = store.root
    store.erasures.erase(client.id)
    store.close()
    assert files_with(root, [b"qxasideqx"]) == []


# two windows at once


@pytest.mark.parametrize("stores", [1, 2])
def test_photos_that_windows_add_at_once_are_all_in(tmp_path: Path, stores: int) -> None:
    with Store(tmp_path / "studio") as one, Store(tmp_path / "studio") as other:
        client = add_client(one)
        draft = begun(one, client)
        photos = [new_photo(one, client.id, b"%d" % number) for number in range(8)]
        start = threading.Barrier(len(photos))
        failed = []

        def add(store: Store, photo: PhotoRecord) -> None:
            start.wait()
            try:
                workflow.change_draft(store, draft.id, with_photos([photo]))
            except BaseException as error:
                failed.append(error)

        threads = [
            threading.Thread(target=add, args=((one, other)[number % stores], photo))
            for number, photo in enumerate(photos)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failed == []
        assert {photo.id for photo in one.drafts.get(draft.id).photos} == {photo.id for photo in photos}


def test_the_same_picture_added_by_both_counts_once(store: Store, client: Client) -> None:
    draft = begun(store, client)
    one, same = new_photo(store, client.id, b"1"), new_photo(store, client.id, b"1")
    for photo in (one, same):
        workflow.change_draft(store, draft.id, with_photos([photo]))
    assert store.drafts.get(draft.id).photos == (one,)


def test_a_photo_that_was_removed_stays_removed(store: Store, client: Client) -> None:
    photo = new_photo(store, client.id, b"1")
    draft = begun(store, client, photos=(photo,))
    workflow.change_draft(store, draft.id, without_photo(photo.id))
    workflow.change_draft(store, draft.id, with_changed_photos([photo], [replace(photo, light="other")]))
    assert store.drafts.get(draft.id).photos == ()


def test_marks_that_both_moved_are_kept_both(store: Store, client: Client) -> None:
    photo = new_photo(store, client.id, b"1")
    draft = begun(store, client, photos=(photo,))
    theirs, mine = replace(photo, light="window light"), replace(photo, light="salon lamp")
    assert workflow.change_draft(store, draft.id, with_changed_photos([photo], [theirs])).clashes == ()
    changed = workflow.change_draft(store, draft.id, with_changed_photos([photo], [mine]))
    assert changed.clashes == (photo.id,)
    assert store.drafts.get(draft.id).photos == (mine,)
    [line] = store.edits.find(record_id=draft.id)
    assert line.before.photos == (theirs,)


def test_a_part_that_was_not_touched_takes_what_the_other_window_wrote(store: Store, client: Client) -> None:
    draft = begun(store, client, "as it was")
    assert draft.visit is not None
    seen, visit = Seen(draft.visit, draft.visit), draft.visit
    workflow.change_draft(store, draft.id, with_words(seen, replace(visit, note="theirs")))
    changed = workflow.change_draft(store, draft.id, with_words(seen, replace(visit, next_time="mine")))
    assert changed.draft.visit == replace(visit, note="theirs", next_time="mine")
    assert changed.clashes == ()
    assert store.edits.find(record_id=draft.id) == []


# any order of what two windows do


@dataclass
class Window:
    """What one window does to a draft, as the page does it, without a screen.

    Attributes
    ----------
    fields : Visit, what stands in the fields
    seen_photos : as they were shown last
    """

    store: Store
    tab: Tab
    fields: Visit
    seen_photos: tuple[PhotoRecord, ...] = ()
    typed: set[str] = field(default_factory=set)

    def run(self) -> None:
        """One run of the page at its last step, again until nothing has to begin anew."""
        while True:
            draft = self.store.drafts.get(self.tab.draft.id)
            if draft.revision != self.tab.draft.revision:
                self.tab.hear(draft)
            self.seen_photos = draft.photos
            assert draft.visit is not None
            self.tab.first = self.tab.first or draft.visit
            seen = self.tab.begun(self.fields, draft.visit)
            changed = workflow.change_draft(self.store, draft.id, with_words(seen, self.fields))
            self.tab.met(changed)
            assert changed.draft.visit is not None
            if self.tab.in_step(self.fields, changed.draft.visit):
                # what stands on the screen is what would be saved
                assert parts_unlike(self.fields, changed.draft.visit) == ()
                return
            self.begin_anew()

    def begin_anew(self) -> None:
        """Fields that begin anew show what the page gave them."""
        assert self.tab.first is not None
        for name in self.tab.fresh:
            self.fields = with_part(self.fields, name, self.tab.first)


TEXTS = {"note": "note", "next": "next_time", "history": "history"}


class TwoWindows(RuleBasedStateMachine):
    """Two windows type, add, mark, remove, choose and go on in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.root = Path(tempfile.mkdtemp())
        self.store = Store(self.root / "studio")
        self.client = add_client(self.store)
        self.number = 0
        self.words: set[str] = set()  # that nobody who saw them took away
        self.photos: set[str] = set()

    @initialize()
    def open(self) -> None:
        draft = begun(self.store, self.client)
        assert draft.visit is not None
        self.draft_id = draft.id
        self.windows = [Window(self.store, Tab(draft, 3), draft.visit) for _ in range(2)]
        for window in self.windows:
            window.run()

    def teardown(self) -> None:
        self.store.close()
        shutil.rmtree(self.root)

    def new_word(self) -> str:
        self.number += 1
        return f"word{self.number}x"

    @rule(which=st.integers(0, 1), part=st.sampled_from(sorted(TEXTS)), replaces=st.booleans(), runs=st.booleans())
    def type(self, which: int, part: str, replaces: bool, runs: bool) -> None:
        window = self.windows[which]
        there = getattr(window.fields, TEXTS[part])
        word = self.new_word()
        if replaces:
            self.words -= set(there.split())
            window.typed -= set(there.split())
        window.fields = replace(window.fields, **{TEXTS[part]: word if replaces else f"{there} {word}".strip()})
        window.typed.add(word)
        if runs:
            self.run(which)

    @rule(which=st.integers(0, 1))
    def run(self, which: int) -> None:
        window = self.windows[which]
        window.run()
        self.words |= window.typed
        window.typed.clear()

    @rule(which=st.integers(0, 1))
    def serve(self, which: int) -> None:
        window = self.windows[which]
        window.fields = replace(window.fields, services=(*window.fields.services, self.new_word()))
        window.typed.add(window.fields.services[-1])
        self.run(which)

    @rule(which=st.integers(0, 1), step=st.integers(0, 3))
    def go(self, which: int, step: int) -> None:
        self.windows[which].tab.met(workflow.change_draft(self.store, self.draft_id, at_step(step)))

    @rule(which=st.integers(0, 1))
    def add_photo(self, which: int) -> None:
        self.number += 1
        photo = new_photo(self.store, self.client.id, b"%d" % self.number)
        self.windows[which].tab.met(workflow.change_draft(self.store, self.draft_id, with_photos([photo])))
        self.photos.add(photo.id)

    @rule(which=st.integers(0, 1), pick=st.integers(0, 20))
    def mark_or_remove(self, which: int, pick: int) -> None:
        window = self.windows[which]
        if not window.seen_photos:
            return
        photo = window.seen_photos[pick % len(window.seen_photos)]
        if pick % 3 == 0:
            self.photos.discard(photo.id)
            change = without_photo(photo.id)
        else:
            change = with_changed_photos([photo], [replace(photo, light=f"light {self.number}")])
        window.tab.met(workflow.change_draft(self.store, self.draft_id, change))

    @rule(which=st.integers(0, 1), mine=st.booleans())
    def choose(self, which: int, mine: bool) -> None:
        window = self.windows[which]
        news = window.tab.news
        if news is None:
            return
        wanted = {
            name: each.mine if mine else each.theirs for name, each in news.choices.items() if each.shows_mine != mine
        }
        window.tab.news = None
        changed = workflow.change_draft(self.store, self.draft_id, with_versions(wanted))
        window.tab.met(changed)
        for name, version in wanted.items():
            if isinstance(version, Visit) and changed.draft.visit is not None:
                window.tab.shown(name, changed.draft.visit)
        window.begin_anew()
        window.run()

    @invariant()
    def nothing_is_lost(self) -> None:
        if not hasattr(self, "draft_id"):
            return
        draft = self.store.drafts.get(self.draft_id)
        kept = to_json(draft) + "".join(to_json(line.before) for line in self.store.edits.find(record_id=self.draft_id))
        assert {word for word in self.words if word not in kept} == set()
        assert self.photos <= {photo.id for photo in draft.photos}


TestTwoWindows = TwoWindows.TestCase
TestTwoWindows.settings = settings(max_examples=25, stateful_step_count=25, suppress_health_check=list(HealthCheck))
