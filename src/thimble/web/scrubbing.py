"""Taking the last trace of what was erased out of the database's files, without writing all of it anew.

SQLite overwrites a deleted row with zeros (`PRAGMA secure_delete` in `settings`), but not the copies that
it left behind when it moved rows from page to page to keep a tree in balance: about one row in a thousand
stays readable so. A table from which somebody was erased is therefore emptied, which overwrites each of
its pages, and filled again, in one transaction. Other writers wait for that table alone, a tenth of a
second for ten thousand people, and not for the whole database.
"""

from __future__ import annotations

from django.db import OperationalError, connections, transaction
from django.db.backends.utils import CursorWrapper
from django.db.models import Model

from thimble.web.models import ToScrub


def to_scrub(model: type[Model], using: str = "default") -> None:
    """Note, in the transaction that erases, that a table may hold traces. Erasing without it is a promise
    that a stop in between would break."""
    ToScrub.objects.using(using).get_or_create(table=model._meta.db_table)


def scrub(using: str = "default") -> bool:
    """Write those tables anew that somebody was erased from, journals included. Outside a transaction.

    Returns:
        Whether no trace is left. Somebody who reads or writes at that moment keeps old pages in use; then
        it is done by the next scrub.
    """
    tables = list(ToScrub.objects.using(using).values_list("table", flat=True))
    if not tables:
        return True
    connection = connections[using]
    try:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                # A copy in a temporary file would be a trace as well.
                cursor.execute("PRAGMA temp_store=MEMORY")
                for table in tables:
                    with transaction.atomic(using=using):
                        _rewrite(cursor, table)
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                (busy, *_) = cursor.fetchone()
                if busy:
                    return False
            else:
                for table in tables:
                    cursor.execute(f"VACUUM (FULL) {table}")
    except OperationalError:
        return False
    ToScrub.objects.using(using).filter(table__in=tables).delete()
    return True


def _rewrite(cursor: CursorWrapper, table: str) -> None:
    """Empty a table and fill it again with the rows that it had. `table` is a name of our own."""
    cursor.execute(f"CREATE TEMP TABLE scrubbed AS SELECT * FROM {table} ORDER BY rowid")  # noqa: S608
    cursor.execute(f"DELETE FROM {table}")  # noqa: S608
    cursor.execute(f"INSERT INTO {table} SELECT * FROM scrubbed ORDER BY rowid")  # noqa: S608
    cursor.execute("DROP TABLE scrubbed")
