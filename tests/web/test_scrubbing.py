"""What was erased can be read nowhere in the database's files, and nobody waits for more than its table."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from django.db import connection

from thimble.actions.people_identity import Written
from thimble.people.identity import PersonIdentity
from thimble.web.context import get_people_identities
from thimble.web.models import PersonIdentity as Row
from thimble.web.models import ToScrub
from thimble.web.scrubbing import scrub

from .conftest import NIGHT

pytestmark = pytest.mark.usefixtures("append_only_db")


def bytes_of_the_database() -> bytes:
    path = Path(connection.settings_dict["NAME"])
    files = [path, *(path.with_name(path.name + end) for end in ("-wal", "-journal"))]
    return b"".join(file.read_bytes() for file in files if file.exists())


def people(count: int, seed: int) -> dict[str, PersonIdentity]:
    """Numbers in no order, so that the index over them is rebalanced again and again."""
    drawn = random.Random(seed)
    return {
        f"P-{drawn.getrandbits(40):010X}": PersonIdentity(
            number=f"N{drawn.getrandbits(60):015x}",
            family_name=f"F{drawn.getrandbits(60):015x}" + "-von" * drawn.randrange(0, 25),
            given_name="Odile",
        )
        for _ in range(count)
    }


def readable(gone: dict[str, PersonIdentity]) -> int:
    there = bytes_of_the_database()
    marks = [who.number for who in gone.values()] + [who.family_name[:16] for who in gone.values()]
    return sum(mark.encode() in there for mark in marks)


def test_no_byte_of_an_erased_name_or_number_is_left_in_the_files():
    everybody = people(3000, seed=7)
    identities = get_people_identities()
    written = [Written(person, 1, who) for person, who in everybody.items()]
    for at in range(0, len(written), 300):
        identities.save_all(written[at : at + 300], by="u", now=NIGHT)
    gone = dict(list(everybody.items())[::2])
    assert readable(gone) > len(gone)
    stay = {person: who for person, who in everybody.items() if person not in gone}
    before = list(Row.objects.filter(person__in=stay).order_by("id").values_list())
    identities.erase(gone)

    assert scrub() is True

    assert readable(gone) == 0
    assert identities.all_identities() == stay
    assert list(Row.objects.order_by("id").values_list()) == before
    assert not ToScrub.objects.exists()


def test_after_a_scrub_new_rows_go_on_and_the_triggers_hold():
    identities = get_people_identities()
    first, second = people(2, seed=1).items()
    identities.save_all([Written(*_at(first)), Written(*_at(second))], by="u", now=NIGHT)
    last = Row.objects.order_by("id").last()
    assert last is not None
    identities.erase([second[0]])
    assert scrub()

    identities.save_all([Written(*_at(second))], by="u", now=NIGHT)

    again = Row.objects.order_by("id").last()
    assert again is not None
    assert again.pk > last.pk
    with connection.cursor() as cursor, pytest.raises(Exception, match="append only"):
        cursor.execute("UPDATE web_personidentity SET body = ''")


def _at(person: tuple[str, PersonIdentity]) -> tuple[str, int, PersonIdentity]:
    return person[0], 1, person[1]


def test_where_nothing_was_erased_nothing_is_written():
    get_people_identities().save_all(
        [Written(*_at(next(iter(people(1, seed=2).items()))))], by="u", now=NIGHT
    )
    with closing(sqlite3.connect(connection.settings_dict["NAME"])) as other:
        before = other.execute("PRAGMA data_version").fetchone()
        assert scrub() is True
        assert other.execute("PRAGMA data_version").fetchone() == before


def test_while_somebody_reads_it_claims_nothing_and_does_it_the_next_time():
    gone = people(1, seed=3)
    identities = get_people_identities()
    identities.save_all([Written(*_at(each)) for each in gone.items()], by="u", now=NIGHT)
    connection.ensure_connection()
    with closing(sqlite3.connect(connection.settings_dict["NAME"])) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM web_personidentity").fetchall()
        identities.erase(gone)
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout=1")
        assert scrub() is False
        assert ToScrub.objects.count() == 2

    assert scrub() is True
    assert readable(gone) == 0
