"""A studio of any size with records like real ones: few drawn and measured pictures, shared by all photos.

``python -m tests.large_studio FOLDER [VISITS]`` writes one; five visits to a client and four photos to a visit.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert

sys.path.insert(0, str(Path(__file__).parent))  # the scenes, as pytest finds them

from photo_samples import jpeg
from scenes import marks, photograph, scene

from tracker.compare.past_results import Outcome, outcomes_of
from tracker.measure import measure_photo
from tracker.measure.repeatability import PROVISIONAL
from tracker.photo import read_photo
from tracker.record.mixing import Amount, Strength
from tracker.record.records import (
    AFTER,
    BEFORE,
    CONSENT_VERSION,
    MEASURING,
    PORTFOLIO,
    PROGRESS,
    SERVICES,
    Client,
    Consent,
    PhotoRecord,
    Step,
    Visit,
    new_id,
    now,
)
from tracker.store import Store, schema
from tracker.store.engine import make_engine
from tracker.store.outcomes import outcome_row
from tracker.store.rows import client_row, consent_row, photo_row, time_text, visit_row
from tracker.store.searching import text_row

A_CLIENT = 5
"""Visits of a client on the average; the first client has `OFTEN`."""

OFTEN = 60
BATCH = 500
SEED = 4

_FIRST = (
    "Ada Bea Cora Dina Ewa Fay Gita Hana Ines Jana Kaya Lena Mira Nora Oda Pia Rosa Siri Tara Uma Vera Wren Yara Zoë"
)
_LAST = "Abel Berg Costa Dahl Eder Falk Gold Haas Ito Jung Klein Lund Moss Nagy Ortiz Paul Rey Sand Toth Vogt Wolf"
_WORDS = (
    "cooler softer brighter warm ends fragile fine thick grown out summer wedding beige smoke honey root sunny swim"
)
_STEPS = (("ends", "lightener"), ("mid-lengths", "lightener"), ("root", "shadow root"), ("all over", "toner"))
_TIPS = {BEFORE: (30.0, 36.0, 42.0), AFTER: (52.0, 58.0, 64.0), PROGRESS: (50.0, 56.0, 61.0)}
_DAY = datetime(2000, 1, 2, 3, 4, 5, 678, tzinfo=UTC)  # stands in a template until a copy is made


@dataclass(frozen=True)
class Template:
    """A row of a table, and the texts in its JSON that differ between copies."""

    row: dict[str, Any]
    marks: dict[str, str]

    def copy(self, **values: str) -> dict[str, Any]:
        """The row with other identifiers and times, in the columns and in the JSON."""
        text = self.row["record"]
        for name, value in values.items():
            text = text.replace(self.marks[name], value)
        return {**self.row, **{name: value for name, value in values.items() if name in self.row}, "record": text}


def build(root: Path, visits: int) -> None:
    """Fill a new studio."""
    rng = random.Random(SEED)  # noqa: S311 - no secret
    with Store(root) as store:
        photos = _photos(store)
        outcomes = _outcomes(photos)
        clients = [
            Client(new_id(), _name(rng, number), _text(rng, 6), now()) for number in range(max(1, visits // A_CLIENT))
        ]
        # past the unit of work, which would work every visit out anew: what came of them is known from the templates
        engine = make_engine(store.database.layout.database)
        with engine.begin() as connection:
            connection.execute(insert(schema.client), [client_row(client) for client in clients])
            answers = [_answer(client, MEASURING, True) for client in clients]
            answers += [_answer(client, PORTFOLIO, rng.random() < 0.3) for client in clients]
            connection.execute(insert(schema.consent), [consent_row(answer) for answer in answers])
            batch: list[Visit] = []
            for owner, on in _days(rng, clients, visits):
                batch.append(_visit(rng, owner, on))
                if len(batch) == BATCH:
                    _write(connection, rng, batch, photos, outcomes)
                    batch = []
            _write(connection, rng, batch, photos, outcomes)
        engine.dispose()


def _photos(store: Store) -> dict[str, list[tuple[PhotoRecord, Template]]]:
    """Some measured photos of each role, from drawn pictures."""
    found: dict[str, list[tuple[PhotoRecord, Template]]] = {}
    for role, tips in _TIPS.items():
        for tip in tips:
            drawn = scene(root=(tip / 2 + 8, 4.0, 8.0), tip=(tip, 6.0, 24.0), seed=int(tip))
            content = jpeg(photograph(drawn, seed=int(tip)).encoded)
            photo = read_photo(content)
            reading = measure_photo(photo, marks())
            assert reading.ok, [check.says for check in reading.checks if not check.ok]
            client_id, visit_id = new_id(), None if role == PROGRESS else new_id()
            record = PhotoRecord(
                new_id(), client_id, visit_id, role, _DAY, _DAY, "Drawn by a program", "daylight",
                store.pictures.put(content), photo.size, marks(), reading,
            )  # fmt: skip
            row = photo_row(record)
            stamp = "2000-01-02T03:04:05.000678Z"
            assert row["record"].count(stamp) == 2
            fields = {"id": record.id, "client_id": client_id, "visit_id": visit_id or "-", "taken_at": stamp}
            found.setdefault(role, []).append((record, Template(row, fields)))
    return found


def _outcomes(photos: dict[str, list[tuple[PhotoRecord, Template]]]) -> dict[tuple[int, int], list[Outcome]]:
    """What comes of each pair of a before and an after, as the program works it out."""
    found = {}
    for first, (before, _) in enumerate(photos[BEFORE]):
        for second, (after, _) in enumerate(photos[AFTER]):
            visit = Visit(new_id(), new_id(), _DAY.date(), (), (), "", "", _DAY)
            found[first, second] = outcomes_of(visit, [before, after])
    return found


def _write(connection: Connection, rng: random.Random, batch: list[Visit], photos: Any, outcomes: Any) -> None:
    """Keep visits with a before, two afters, a progress photo later, their words and what came of them."""
    if not batch:
        return
    rows, came = [], []
    for visit in batch:
        first, second = rng.randrange(3), rng.randrange(3)
        at = datetime.combine(visit.on, time(10), UTC)
        for role, which, later in (
            (BEFORE, first, timedelta()),
            (AFTER, second, timedelta(hours=3)),
            (AFTER, second, timedelta(hours=3, minutes=1)),
            (PROGRESS, rng.randrange(3), timedelta(days=rng.randrange(20, 70))),
        ):
            values = {"id": new_id(), "client_id": visit.client_id, "taken_at": time_text(at + later)}
            if role != PROGRESS:
                values["visit_id"] = visit.id
            rows.append(photos[role][which][1].copy(**values))
        for outcome in outcomes[first, second]:
            row = outcome_row(outcome, PROVISIONAL)
            text = (
                row["record"].replace(outcome.visit_id, visit.id).replace(_DAY.date().isoformat(), visit.on.isoformat())
            )
            services = "".join(f"\n{service}\n" for service in visit.services)
            came.append(
                {**row, "visit_id": visit.id, "on_date": visit.on.isoformat(), "services": services, "record": text}
            )
    connection.execute(insert(schema.visit), [visit_row(visit) for visit in batch])
    connection.execute(insert(schema.photo), rows)
    connection.execute(insert(schema.visit_text), [text_row(visit) for visit in batch])
    connection.execute(insert(schema.outcome), came)


def _days(rng: random.Random, clients: list[Client], visits: int) -> Iterator[tuple[Client, date]]:
    """Whose visit on which day: the first client comes often."""
    today = date.today()
    for number in range(visits):
        owner = clients[0] if number < min(OFTEN, visits // 4) else rng.choice(clients)
        yield owner, today - timedelta(days=rng.randrange(1500))


def _visit(rng: random.Random, owner: Client, on: date) -> Visit:
    steps = tuple(
        Step(
            zone,
            what,
            f"{rng.choice(_WORDS.split())} {rng.randrange(1, 12)}",
            float(rng.randrange(5, 55, 5)),
            _text(rng, 4),
            Strength(rng.choice((10.0, 20.0, 30.0))),
            "1:1.5",
            Amount(float(rng.randrange(10, 60))),
        )
        for zone, what in _STEPS
    )
    services = tuple(rng.sample(SERVICES[:6], 2))
    return Visit(new_id(), owner.id, on, services, steps, _text(rng, 20), _text(rng, 6), now())


def _answer(client: Client, purpose: str, given: bool) -> Consent:
    return Consent(new_id(), client.id, purpose, given, CONSENT_VERSION, now(), "the owner")


def _name(rng: random.Random, number: int) -> str:
    return f"{rng.choice(_FIRST.split())} {rng.choice(_LAST.split())} {number}"


def _text(rng: random.Random, words: int) -> str:
    return " ".join(rng.choices(_WORDS.split(), k=words))


if __name__ == "__main__":
    build(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 10_000)
