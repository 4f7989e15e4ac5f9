"""Steps, prices, searching, the log of edits and outcomes: kept together, found again, gone with the client."""

from __future__ import annotations

import math
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from alembic import command
from crash_studio import add_client, answer, files_with, new_draft, new_photo, new_visit

from tracker import workflow
from tracker.calibrate.calibration import SPREAD, Yardstick
from tracker.compare.past_results import outcomes_of
from tracker.errors import InvalidEntry, NotFound
from tracker.maths.quantities import LabMeasured
from tracker.measure.repeatability import Repeatability
from tracker.record.mixing import Amount, Charge, Strength
from tracker.record.records import AFTER, BEFORE, MEASURING, Client, PhotoRecord, Step, Visit, new_id, now
from tracker.store import Store
from tracker.store.edits import NOBODY
from tracker.store.engine import make_engine
from tracker.store.migrate import alembic_config
from tracker.workflow.results import Start, catch_up_results, past_results

FULL = Step(
    "nape",
    "lightener",
    "Poudre légère",
    35,
    "tip first",
    Strength(20),
    "1:1.5",
    Amount(30),
    ("slices", "foils"),
    "fine",
    "zigzag",
    (Charge("p", "Powder", 500, "g", 25.0, "EUR", 30),),
    10,
)


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def visit_with(client: Client, *steps: Step, **changes: object) -> Visit:
    return replace(new_visit(client.id), steps=steps, **changes)  # type: ignore[arg-type]


def record(store: Store, visit: Visit, by: str = "") -> Visit:
    """As a page does it: through a draft."""
    draft = store.drafts.save(new_draft(visit.client_id, visit, ()))
    return workflow.record_visit(store, draft, by=by)


def test_a_full_step_comes_back(store: Store) -> None:
    client = add_client(store)
    saved = record(store, visit_with(client, FULL, history="box dye", starting_point="brassy"))
    kept = store.visits.get(saved.id)
    assert kept.steps == (FULL,)
    assert (kept.history, kept.starting_point) == ("box dye", "brassy")


def test_a_visit_from_before_these_fields_reads(store: Store) -> None:
    client = add_client(store)
    visit = record(store, visit_with(client, Step("ends", "toner")))
    old = (
        f'{{"id":"{visit.id}","client_id":"{client.id}","on":"{visit.on}","services":["toner"],"steps":[{{"zone":"ends",'
        f'"what":"toner","product":"","minutes":null,"note":""}}],"note":"","next_time":"",'
        f'"created_at":"2026-01-01T00:00:00Z","revision":1}}'
    )
    with store.database.writing() as connection:
        connection.exec_driver_sql("UPDATE visit SET record = ?", (old,))
    assert store.visits.get(visit.id).steps == (Step("ends", "toner"),)


@pytest.mark.parametrize(
    ("step", "match"),
    [
        (replace(FULL, developer=Strength(41)), "stronger"),
        (replace(FULL, developer=Strength(12.5, "%")), "stronger"),
        (replace(FULL, developer=Strength(math.nan)), "strength"),
        (replace(FULL, developer=Strength(-20)), "strength"),
        (replace(FULL, developer=Strength(20, "bar")), "strength"),
        (replace(FULL, minutes=-5), "time"),
        (replace(FULL, minutes=math.inf), "time"),
        (replace(FULL, amount=Amount(1e9)), "amount"),
        (replace(FULL, amount=Amount(10, "lb")), "unit"),
        (replace(FULL, waste=101), "left over"),
        (replace(FULL, charges=(Charge("p", "x", 0, "g", 1, "EUR", 1),)), "no size"),
        (replace(FULL, product="x" * 300), "characters"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_the_draft_stays(store: Store, step: Step, match: str) -> None:
    client = add_client(store)
    draft = new_draft(client.id, visit_with(client, Step("", "toner"), step), ())
    if not (step.minutes is not None and math.isinf(step.minutes)):
        store.drafts.save(draft)
    with pytest.raises(InvalidEntry, match=match) as caught:
        workflow.record_visit(store, draft)
    assert "tep 2" in caught.value.what
    assert caught.value.advice
    assert store.visits.of_client(client.id) == []


@pytest.mark.parametrize("strength", [Strength(40), Strength(12, "%"), Strength(5)])
def test_usual_strengths_are_kept(store: Store, strength: Strength) -> None:
    client = add_client(store)
    assert record(store, visit_with(client, replace(FULL, developer=strength))).steps[0].developer == strength


def test_copied_steps_take_todays_prices(store: Store) -> None:
    client = add_client(store)
    powder = workflow.keep_price(store, "Powder", 500, "g", 25, "EUR")
    gone = workflow.keep_price(store, "Gone", 100, "ml", 5, "EUR")
    step = replace(FULL, charges=(powder.charge(30), gone.charge(10)))
    older = record(store, visit_with(client, Step("root", "toner"), on=date(2025, 1, 1)))
    last = record(store, visit_with(client, step, on=date(2025, 6, 1)))
    record(store, visit_with(client, on=date(2025, 9, 1)))
    assert workflow.last_steps(store, client.id) == last
    assert workflow.last_steps(store, client.id, besides=last.id) == older
    workflow.keep_price(store, "Powder", 500, "g", 30, "EUR", line_id=powder.id)
    store.prices.delete(gone.id)
    [copied] = workflow.copied_steps(store, last.steps)
    assert [(charge.price, charge.quantity) for charge in copied.charges] == [(30, 30)]
    assert copied.waste is None
    assert replace(copied, charges=step.charges, waste=10) == step
    assert store.visits.get(last.id).steps == (step,)


@pytest.mark.parametrize(
    ("name", "size", "unit", "price"),
    [
        ("", 1.0, "g", 1.0),
        ("x", 0.0, "g", 1.0),
        ("x", None, "g", 1.0),
        ("x", -1.0, "g", 1.0),
        ("x", math.nan, "g", 1.0),
        ("x", 1.0, "oz", 1.0),
        ("x", 1.0, "g", None),
        ("x", 1.0, "g", -0.01),
        ("x", 1.0, "g", math.inf),
    ],
)
def test_prices_that_cannot_be(store: Store, name: str, size: float | None, unit: str, price: float | None) -> None:
    with pytest.raises(InvalidEntry):
        workflow.keep_price(store, name, size, unit, price, "EUR")
    assert store.prices.all() == []


def test_the_price_list_keeps_what_it_said(store: Store) -> None:
    line = workflow.keep_price(store, "Tönung", 60, "g", 9, "kr", by="Bo")
    workflow.keep_price(store, "Abc", 1, "ml", 0, "")
    changed = workflow.keep_price(store, "Tönung", 60, "g", 10, "kr", line_id=line.id, by="Bo")
    assert [kept.name for kept in store.prices.all()] == ["Abc", "Tönung"]
    [edit] = store.edits.find()
    assert (edit.before, edit.by, edit.what, edit.kind) == (line, "Bo", "changed", "price")
    store.prices.delete(line.id)
    assert store.edits.find()[0].before == changed
    with pytest.raises(NotFound):
        store.prices.delete(line.id)


@pytest.mark.parametrize(
    ("search", "place"),
    [
        ("poudre legere", "product in step 1"),
        ("LÉGÈRE", "product in step 1"),
        ("nape", "step 1"),
        ("zigzag", "placement in step 1"),
        ("1:1.5", "mixing ratio in step 1"),
        ("20 vol", "developer in step 1"),
        ("powder", "price list in step 1"),
        ("6%", "developer in step 1"),
        ("6 %", "developer in step 1"),
        ("33", "amount in step 1"),
        ("33 g", "amount in step 1"),
        ("33g", "amount in step 1"),
        ("37", "time in step 1"),
        ("37 minutes", "time in step 1"),
        ("37 min", "time in step 1"),
        ("30 g", "price list in step 1"),
        ("12%", "waste in step 1"),
        ("march", "date"),
        ("2026", "date"),
        ("9 march 2026", "date"),
        ("box", "hair history"),
        ("brassy", "starting point"),
        ("gloss", "service"),
        ("weeks", "next time"),
        ("quiet", "note"),
    ],
)
def test_every_word_is_found_and_where(store: Store, search: str, place: str) -> None:
    client = add_client(store, "Zoë", "likes cats")
    other = add_client(store, "Ada")
    step = replace(FULL, minutes=37, amount=Amount(33), waste=12)
    visit = replace(
        visit_with(client, step, services=("Gloss",), history="box dye", starting_point="brassy"),
        note="quiet",
        next_time="8 weeks",
        on=date(2026, 3, 9),
    )
    visit = record(store, visit)
    plain = visit_with(other, Step("ends", "cut"), services=("cut",), note="", next_time="")
    record(store, replace(plain, on=date(2025, 4, 9)))
    [found], total = store.visits.find(search)
    assert (found.visit, found.client, total) == (visit, client, 1)
    assert place in [name for name, _ in found.where]
    [again], _ = store.visits.find(f"{search} zoe")
    assert again.visit == visit
    assert store.visits.find(f"{search} ada") == ([], 0)


@pytest.mark.parametrize("search", ["", "  ", "zoe", "100%", "_", "'", "poudre nowhere", "0 vol", "2 vol", "202", "5"])
def test_what_finds_no_visit(store: Store, search: str) -> None:
    record(store, visit_with(add_client(store, "Zoë"), FULL))
    assert store.visits.find(search) == ([], 0)


def test_the_search_follows_every_change(store: Store) -> None:
    client = add_client(store)
    visit = record(store, visit_with(client, FULL))
    record(store, replace(visit, steps=(replace(FULL, product="violet"),)))
    assert store.visits.find("poudre")[1] == 0
    assert store.visits.find("violet")[1] == 1
    store.visits.delete(visit.id)
    assert store.visits.find("violet") == ([], 0)


def test_the_words_around_are_shown_as_typed(store: Store) -> None:
    long = " ".join(f"w{number}" for number in range(40))
    visit = visit_with(add_client(store), note=f"{long} Zérô {long}")
    record(store, visit)
    [found], _ = store.visits.find("zero")
    [(name, text)] = found.where
    assert name == "note"
    assert text.startswith("… w33")
    assert "Zérô w0" in text
    assert text.endswith("…")


def test_a_number_and_its_unit_are_shown_inside_long_words(store: Store) -> None:
    long = " ".join("word" for _ in range(20))
    record(store, visit_with(add_client(store), note=f"{long} 250 ml left {long}"))
    [found], _ = store.visits.find("250ml")
    assert "250 ml left" in dict(found.where)["note"]


def test_nothing_is_silently_overwritten(store: Store) -> None:
    client = add_client(store, "Ada", "first")
    workflow.edit_client(store, client, "Ada", "second", by="Bo")
    visit = record(store, visit_with(client, note="one"))
    changed = record(store, replace(visit, note="two"), by="Cy")
    record(store, replace(changed, note="three"))
    edits = [edit for edit in store.edits.find(client.id) if edit.kind in ("client", "visit")]
    assert [(edit.kind, edit.by, edit.what) for edit in edits] == [
        ("visit", NOBODY, "changed"),
        ("visit", "Cy", "changed"),
        ("client", "Bo", "changed"),
    ]
    assert [edit.before for edit in edits] == [changed, visit, client]
    assert [edit.before for edit in store.edits.find(record_id=visit.id)] == [changed, visit]
    assert all(earlier.at <= later.at for later, earlier in pairwise(edits))


def test_saving_without_a_change_of_a_client_or_photo_is_no_edit(store: Store) -> None:
    client = add_client(store)
    store.clients.change(client.id, lambda kept: kept)
    photo = store.photos.save(new_photo(store, client.id, b"photo"))
    store.photos.save(photo)
    assert [edit for edit in store.edits.find(client.id) if edit.kind != "consent"] == []
    store.photos.save(replace(photo, light="salon lamps"))
    assert store.edits.find(record_id=photo.id)[0].before == photo


def test_a_photo_that_is_replaced_in_a_visit_leaves_its_numbers(store: Store) -> None:
    client = add_client(store)
    visit = new_visit(client.id)
    first, second = (new_photo(store, client.id, word, visit_id=visit.id) for word in (b"one", b"two"))
    saved = store.visits.save(visit, [first])
    store.visits.save(saved, [second], by="Bo")
    [edit] = store.edits.find(record_id=first.id)
    assert (edit.before, edit.what, edit.by) == (first, "removed", "Bo")


def test_what_is_deleted_for_good_leaves_no_words(store: Store) -> None:
    client = add_client(store)
    visit = record(store, visit_with(client, note="secret one"))
    record(store, replace(visit, note="secret two"))
    store.visits.delete(visit.id, by="Bo")
    [edit] = store.edits.find(record_id=visit.id)
    assert (edit.what, edit.by, edit.before) == ("removed", "Bo", None)


def test_a_damaged_edit_is_shown_without_its_content(store: Store) -> None:
    client = add_client(store, "Ada")
    workflow.edit_client(store, client, "Ada B", "")
    with store.database.writing() as connection:
        connection.exec_driver_sql("UPDATE edit SET before = '{' WHERE kind = 'client'")
    assert [edit.before for edit in store.edits.find(client.id) if edit.kind == "client"] == [None]


def test_the_portfolio_shows_no_words_of_the_client_and_no_prices(store: Store) -> None:
    client = add_client(store)
    visit = replace(new_visit(client.id), steps=(FULL,), history="secret", starting_point="secret", note="secret")
    photos = [new_photo(store, client.id, word.encode(), role=word, visit_id=visit.id) for word in (BEFORE, AFTER)]
    store.visits.save(visit, photos)
    [entry] = store.portfolio.entries()
    assert "secret" not in repr(entry)
    assert entry.visit.steps == (replace(FULL, note="", charges=(), waste=None),)


def test_erasing_takes_words_edits_and_outcomes(tmp_path: Path) -> None:
    token = b"qxtokenxq"
    with Store(tmp_path) as store:
        client = add_client(store, token.decode())
        workflow.edit_client(store, client, token.decode(), token.decode())
        visit = record(store, visit_with(client, replace(FULL, product=token.decode())))
        record(store, replace(visit, note=token.decode()), by=token.decode())
        assert files_with(tmp_path, [token]) != []
        store.erasures.erase(client.id)
        assert files_with(tmp_path, [token]) == []
        with store.database.reading() as connection:
            for table in ("visit_text", "edit", "outcome"):
                assert connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar() == 0
    assert files_with(tmp_path, [token]) == []


def pair(store: Store, client: Client, before: float, after: float, on: date, service: str = "toner") -> Visit:
    """A kept visit whose photos read these L* at the mid-lengths."""
    visit = replace(new_visit(client.id), on=on, services=(service,))
    photos = [
        lit(new_photo(store, client.id, f"{role}{on}".encode(), role=role, visit_id=visit.id), lightness)
        for role, lightness in ((BEFORE, before), (AFTER, after))
    ]
    return store.visits.save(visit, photos)


def lit(photo: PhotoRecord, lightness: float) -> PhotoRecord:
    """The photo with another L* in every band."""
    assert photo.reading is not None
    regions = tuple(
        replace(region, lab=LabMeasured((lightness, *region.lab.lab[1:]), region.lab.cov, region.lab.dof))
        for region in photo.reading.regions
    )
    return replace(photo, reading=replace(photo.reading, regions=regions))


def region_of(store: Store, visit: Visit) -> str:
    reading = store.photos.find(visit_id=visit.id)[0].reading
    assert reading is not None
    return reading.regions[0].name


def test_outcomes_follow_visits_and_photos(store: Store) -> None:
    client = add_client(store)
    visit = pair(store, client, 30, 45, date(2026, 1, 1))
    region = region_of(store, visit)
    [outcome] = store.outcomes.find(region)
    assert (outcome.before.lab[0], outcome.after.lab[0], outcome.services) == (30, 45, ("toner",))
    after = next(photo for photo in store.photos.find(visit_id=visit.id) if photo.role == AFTER)
    store.photos.save(lit(after, 50))
    assert store.outcomes.find(region)[0].after.lab[0] == 50
    deletion = store.photos.delete(after.id)
    assert store.outcomes.find(region) == []
    assert not store.outcomes.any_told()
    store.deletions.put_back(deletion.token)
    assert store.outcomes.find(region)[0].after.lab[0] == 50
    store.visits.delete(visit.id)
    assert store.outcomes.find(region) == []


def test_outcomes_are_of_those_who_agree_now(store: Store) -> None:
    client = add_client(store)
    visit = pair(store, client, 30, 45, date(2026, 1, 1))
    assert len(store.outcomes.find(region_of(store, visit))) == 1
    assert (store.outcomes.any_told(), store.outcomes.services()) == (True, ["toner"])
    store.consents.add(answer(client.id, MEASURING, given=False))
    assert store.outcomes.find(region_of(store, visit)) == []
    assert (store.outcomes.any_told(), store.outcomes.services()) == (False, [])


def test_outcomes_follow_the_spread_in_force(store: Store) -> None:
    client = add_client(store)
    visit = pair(store, client, 30, 45, date(2026, 1, 1))
    region = region_of(store, visit)
    photos = store.photos.find(visit_id=visit.id)
    again = [replace(each, id=new_id(), file=store.pictures.put(b"again" + each.id.encode())) for each in photos]
    store.visits.save(store.visits.get(visit.id), [*store.photos.find(visit_id=visit.id), *again])
    pair(store, client, 30, 45, date(2026, 2, 2))
    before = store.outcomes.find(region)
    assert len(before) == 2
    own = Repeatability("check", (0.9, 0.9, 0.9), 18.0, False, "Own.", shared=(0.9, 0.9, 0.9))
    version = store.yardsticks.add(Yardstick(new_id(), SPREAD, now(), spread=own))
    # what rests on the spread from before is not told
    assert store.outcomes.find(region) == []
    assert store.outcomes.any_told()
    assert store.outcomes.count_stale() == 2
    assert store.outcomes.refresh_stale(1) == 1
    assert catch_up_results(store) == 0
    found = store.outcomes.find(region)
    photos = store.photos.find(visit_id=visit.id)
    assert found[1] == next(
        each for each in outcomes_of(store.visits.get(visit.id), photos, own) if each.region == region
    )
    assert found[1].before.u[0] > before[1].before.u[0]
    store.yardsticks.stand(version.id, stands=False)
    assert catch_up_results(store) == 0
    assert store.outcomes.find(region) == before
    with store.database.writing() as connection:  # as an upgrade leaves them
        connection.exec_driver_sql("UPDATE outcome SET stamp = NULL")
    assert catch_up_results(store, 0) == 2
    assert catch_up_results(store, 60) == 0
    assert store.outcomes.find(region) == before


def test_past_results_by_level_and_service(store: Store) -> None:
    client = add_client(store)
    first = date(2026, 1, 1)
    starts = [25.0, 30.0, 30.5, 31.0, 55.0]
    visits = [
        pair(store, client, start, start + 8, first + timedelta(days=n), "Gloss" if n % 2 else "no gloss")
        for n, start in enumerate(starts)
    ]
    region = region_of(store, visits[0])
    scale = store.yardsticks.in_force().scale
    levels = scale.level(29.9), scale.level(31.1)
    results = past_results(store, Start(region, levels))
    assert [case.outcome.before.lab[0] for case in results.cases] == [31.0, 30.5, 30.0]
    assert results.lift is not None
    assert results.lift.median == pytest.approx(scale.level(38.5) - scale.level(30.5))
    assert len(past_results(store, Start(region, (1, 10))).cases) == 5
    assert len(past_results(store, Start(region, (1, 10), service="GLOSS")).cases) == 2
    assert store.outcomes.services() == ["no gloss", "Gloss"]
    with pytest.raises(InvalidEntry):
        past_results(store, Start(region, (6, 5)))
    with pytest.raises(InvalidEntry):
        past_results(store, Start("beard"))


def earlier_revision(path: Path, revision: str) -> None:
    """A database as an earlier revision of the program made it."""
    engine = make_engine(path, foreign_keys=False)
    with engine.begin() as connection:
        command.upgrade(alembic_config(connection), revision)
    engine.dispose()


# 0001 kept no words, 0005 only some of them
@pytest.mark.parametrize("revision", ["0001", "0005"])
def test_an_older_record_gets_its_words_and_outcomes(tmp_path: Path, revision: str) -> None:
    old = tmp_path / "old"
    with Store(tmp_path / "new") as store:
        client = add_client(store)
        visit = pair(store, client, 30, 45, date(2026, 1, 1))
        region = region_of(store, visit)
        expected = store.outcomes.find(region)
        broken = record(store, visit_with(client, note="broken"))
    shutil.copytree(tmp_path / "new" / "pictures", old / "pictures")
    earlier_revision(old / "database.sqlite", revision)
    with closing(sqlite3.connect(old / "database.sqlite")) as older:
        older.execute("ATTACH ? AS new", (str(tmp_path / "new" / "database.sqlite"),))
        for table in ("client", "consent", "visit", "photo"):
            names = ", ".join(name for (_, name, *_) in older.execute(f"PRAGMA main.table_info({table})"))
            older.execute(f"INSERT INTO main.{table} ({names}) SELECT {names} FROM new.{table}")
        older.execute("UPDATE visit SET record = '{' WHERE id = ?", (broken.id,))
        if revision == "0005":
            older.execute("INSERT INTO visit_text (visit_id, search) SELECT id, 'toner' FROM visit")
        older.commit()
    with Store(old) as store:
        assert store.outcomes.find(region) == expected
        assert store.visits.find("january 2026")[1] == 1
        assert store.visits.find("broken")[1] == 0
        assert [damaged.id for damaged in store.damaged_records()] == [broken.id]
