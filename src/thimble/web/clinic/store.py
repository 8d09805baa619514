"""Sessions and bookings in the database."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time
from functools import cache

from django.db import transaction
from django.db.models import QuerySet

from thimble.people.sessions import VACCINATING, Booked, Session
from thimble.web import models
from thimble.web.store import one_writer


class DjangoClinic:
    """See `thimble.actions.clinic.Clinic`."""

    def __init__(self, using: str = "default") -> None:
        self.using = using

    @contextmanager
    def alone(self) -> Iterator[None]:
        """See `Clinic.alone`. SQLite lets one writer in by itself; PostgreSQL locks the bookings."""
        with transaction.atomic(using=self.using):
            one_writer(models.Booking, self.using)
            yield

    def session(self, id_: int) -> Session | None:
        """See `Clinic.session`."""
        row = self._sessions.filter(pk=id_).first()
        return None if row is None else _session(row)

    def between(self, first: date, last: date | None = None) -> list[Session]:
        """The sessions of a stretch of days, both included, in order."""
        rows = self._sessions.filter(day__gte=first)
        if last is not None:
            rows = rows.filter(day__lte=last)
        return [_session(row) for row in rows]

    def last_stock_place(self) -> str | None:
        """The shelf of the session with vaccines that was made last; None where there is none yet."""
        vaccinating = self._sessions.filter(purpose__in=VACCINATING)
        return vaccinating.order_by("-id").values_list("stock_place", flat=True).first()

    def of_session(self, id_: int) -> list[Booked]:
        """See `Clinic.of_session`."""
        return [_booked(row) for row in self._standing.filter(session=id_)]

    def of_sessions(self, ids: Sequence[int]) -> list[Booked]:
        """The bookings of many sessions that stand."""
        return [_booked(row) for row in self._standing.filter(session__in=ids)]

    def of_person(self, person: str) -> list[Booked]:
        """See `Clinic.of_person`."""
        rows = self._standing.filter(person=person, session__called_off_at__isnull=True)
        return [_booked(row) for row in rows.order_by("session__day", "at")]

    def called_off_for(self, person: str, today: date) -> list[Booked]:
        """Bookings of a person for sessions to come that were called off."""
        rows = self._standing.filter(
            person=person, session__called_off_at__isnull=False, session__day__gte=today
        )
        return [_booked(row) for row in rows.order_by("session__day", "at")]

    def add_sessions(self, sessions: Sequence[Session], *, by: str, now: datetime) -> list[int]:
        """See `Clinic.add_sessions`."""
        with transaction.atomic(using=self.using):
            return [
                models.ClinicSession.objects.using(self.using).create(
                    day=each.day, opens=each.opens, closes=each.closes, place=each.place,
                    purpose=each.purpose, capacity=each.capacity, slot_minutes=each.slot_minutes,
                    stock_place=each.stock_place, made_at=now, made_by=by,
                ).pk
                for each in sessions
            ]  # fmt: skip

    def call_off(self, id_: int, *, by: str, now: datetime) -> None:
        """See `Clinic.call_off`."""
        self._sessions.filter(pk=id_).update(called_off_at=now, called_off_by=by)

    def add(
        self, session: Session, person: str, at: time, number: int, *,
        uid: str | None, sequence: int, by: str, now: datetime,
    ) -> int:  # fmt: skip
        """See `Clinic.add`."""
        row = models.Booking.objects.using(self.using).create(
            session_id=session.id, person=person, at=at, number=number,
            uid=uid or secrets.token_hex(16), sequence=sequence, made_at=now, made_by=by,
        )  # fmt: skip
        return int(row.pk)

    def end(self, booking: int, *, by: str, now: datetime) -> None:
        """See `Clinic.end`."""
        self._standing.filter(pk=booking).update(ended_at=now, ended_by=by)

    def mark(self, booking: int, came: str) -> None:
        """See `Clinic.mark`."""
        self._standing.filter(pk=booking).update(came=came)

    @property
    def _sessions(self) -> QuerySet[models.ClinicSession]:
        return models.ClinicSession.objects.using(self.using)

    @property
    def _standing(self) -> QuerySet[models.Booking]:
        rows = models.Booking.objects.using(self.using).filter(ended_at__isnull=True)
        return rows.select_related("session")


@cache
def get_clinic() -> DjangoClinic:
    """The sessions in the database."""
    return DjangoClinic()


def _session(row: models.ClinicSession) -> Session:
    return Session(
        row.pk, row.day, row.opens, row.closes, row.place, row.purpose, row.capacity,
        row.slot_minutes, called_off=row.called_off_at is not None, stock_place=row.stock_place,
    )  # fmt: skip


def _booked(row: models.Booking) -> Booked:
    return Booked(
        row.pk, _session(row.session), row.person, row.at, row.number, row.uid, row.sequence,
        row.made_at, row.came,
    )  # fmt: skip
