"""Movements of stock in the database, in the same one as the ledger: a dose and its unit are one write."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import fields
from datetime import datetime
from typing import Any

from django.db import connections, transaction
from django.db.models import Max

from thimble.ledger.stock.movements import Move, Movement, stored
from thimble.web.models import StockMovement

_COLUMNS = tuple(field.name for field in fields(Movement))


class DjangoStock:
    """See `thimble.ledger.stock.movements.StockStore`. The database's triggers guard what it wrote."""

    def __init__(self, using: str = "default") -> None:
        self.using = using

    def movements(self) -> list[Movement]:
        """See `StockStore.movements`."""
        rows = StockMovement.objects.using(self.using).order_by("number").values(*_COLUMNS)
        return [Movement(**{**row, "move": Move(row["move"])}) for row in rows]

    def append(
        self, drafts: Sequence[Movement], *, by: str, now: datetime, token: str = ""
    ) -> list[Movement]:
        """See `StockStore.append`."""
        rows = StockMovement.objects.using(self.using)
        with transaction.atomic(using=self.using):
            self._one_writer()
            if token and rows.filter(token=token).exists():
                row = rows.filter(token=token).values(*_COLUMNS).get()
                return [Movement(**{**row, "move": Move(row["move"])})]
            last = rows.aggregate(last=Max("number"))["last"] or 0
            kept = [stored(d, last + n, by=by, now=now) for n, d in enumerate(drafts, 1)]
            rows.bulk_create([_row(one, token if one is kept[0] else "") for one in kept])
        return kept

    def transaction(self) -> AbstractContextManager[Any]:
        """See `StockStore.transaction`."""
        return transaction.atomic(using=self.using)

    def _one_writer(self) -> None:
        """SQLite holds other writers back by itself; PostgreSQL locks the table against them."""
        connection = connections[self.using]
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute(f"LOCK TABLE {StockMovement._meta.db_table} IN EXCLUSIVE MODE")


def _row(one: Movement, token: str) -> StockMovement:
    values = {name: getattr(one, name) for name in _COLUMNS}
    return StockMovement(**{**values, "move": one.move.value}, token=token or None)
