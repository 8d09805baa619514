"""Who people are, in the database. Rows are inserted; the latest one of a person holds."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, datetime

from django.db.models import QuerySet

from thimble.actions.people_identity import Written
from thimble.people.identity import PersonIdentity
from thimble.people.names import number_key
from thimble.web import models
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.scrubbing import to_scrub


class DjangoPeopleIdentities:
    """See `thimble.actions.people_identity.PeopleIdentities`."""

    def __init__(self, using: str = "default") -> None:
        self.using = using

    def save_all(self, rows: Iterable[Written], *, by: str, now: datetime) -> None:
        """See `PeopleIdentities.save_all`."""
        self._rows.bulk_create(
            [
                models.PersonIdentity(
                    person=row.person,
                    position=row.position,
                    recorded_at=now,
                    recorded_by=by,
                    body=_to_json(row.identity),
                    number_key=number_key(row.identity.number),
                )
                for row in rows
            ],
            batch_size=500,
        )

    def identity(self, person: str) -> PersonIdentity | None:
        """See `PeopleIdentities.identity`."""
        row = self._rows.filter(person=person).first()
        return None if row is None else _from_json(row.body)

    def some_identities(self, people: Iterable[str]) -> dict[str, PersonIdentity]:
        """Who these people are, in one query, for a page of a list."""
        rows = self._rows.filter(person__in=list(people)).order_by("id")
        return {row.person: _from_json(row.body) for row in rows}

    def of_number(self, number: str) -> dict[str, PersonIdentity]:
        """Whoever has this number now."""
        key = number_key(number)
        if not key:
            return {}
        found = self._rows.filter(number_key=key).values_list("person", flat=True)
        holders = self.some_identities(set(found))
        return {ref: who for ref, who in holders.items() if number_key(who.number) == key}

    def all_identities(self) -> Mapping[str, PersonIdentity]:
        """See `PeopleIdentities.all_identities`."""
        # Only the text that holds is read, whatever there was before.
        bodies = dict(self._rows.order_by("id").values_list("person", "body"))
        return {person: _from_json(body) for person, body in bodies.items()}

    def before(self, positions: Mapping[str, int]) -> Mapping[str, PersonIdentity]:
        """See `PeopleIdentities.before`."""
        found: dict[str, PersonIdentity] = {}
        for person, position, body in self._rows.order_by("id").values_list(
            "person", "position", "body"
        ):
            if person in positions and position < positions[person]:
                found[person] = _from_json(body)
        return found

    def erase(self, people: Iterable[str]) -> None:
        """See `PeopleIdentities.erase`."""
        gone = list(people)
        for start in range(0, len(gone), 500):
            self._rows.filter(person__in=gone[start : start + 500]).delete()
        # A paper names the person too.
        DjangoPapers().erase(gone)
        for model in (models.PersonIdentity, models.CertificatePaper):
            to_scrub(model, self.using)

    @property
    def _rows(self) -> QuerySet[models.PersonIdentity]:
        return models.PersonIdentity.objects.using(self.using)


def _to_json(who: PersonIdentity) -> str:
    return json.dumps(asdict(who), ensure_ascii=False, sort_keys=True, default=date.isoformat)


def _from_json(text: str) -> PersonIdentity:
    fields = json.loads(text)
    born = fields.pop("birth_date")
    return PersonIdentity(**fields, birth_date=date.fromisoformat(born) if born else None)
