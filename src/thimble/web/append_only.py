"""Triggers by which the database itself refuses to change what was written.

Ledger entries are neither changed nor deleted, nor are the records of who looked at a name, of what
was done to an account, of what moved in and out of stock and of which
product a number on a package was said to be. Identities are never changed (the
latest row wins); they may be deleted, because the law can demand that a name is erased while the
ledger, which holds no name, stays whole.
"""

from __future__ import annotations

from collections.abc import Sequence

from django.db.backends.base.base import BaseDatabaseWrapper

LEDGER = "web_ledgerentry"
PEOPLE = "web_personentry"
REFUSED = {
    LEDGER: ("UPDATE", "DELETE"),
    PEOPLE: ("UPDATE", "DELETE"),
    "web_personidentity": ("UPDATE",),
    "web_certificatepaper": ("UPDATE",),
    "web_workeridentity": ("UPDATE",),
    "web_sourceidentity": ("UPDATE",),
    "web_identitylook": ("UPDATE", "DELETE"),
    "web_accountevent": ("UPDATE", "DELETE"),
    "web_stockmovement": ("UPDATE", "DELETE"),
    "web_productcode": ("UPDATE", "DELETE"),
}
"""Which statements are refused on which table."""

UNIQUE = {
    LEDGER: (("number",), ("digest",), ("previous",), ("case", "position")),
    PEOPLE: (("number",), ("digest",), ("previous",), ("case", "position")),
    "web_personidentity": (("id",),),
    "web_certificatepaper": (("number",),),
    "web_workeridentity": (("id",),),
    "web_sourceidentity": (("id",),),
    "web_identitylook": (("id",),),
    "web_accountevent": (("id",),),
    "web_stockmovement": (("number",), ("token",)),
    "web_productcode": (("id",),),
}
"""What two rows of a table never share. SQLite's REPLACE would delete the row that is in the way
without asking a DELETE trigger; so an insert that would find one is refused before it begins."""


def install(connection: BaseDatabaseWrapper) -> None:
    """Create the triggers that are missing, in the dialect of the database.

    Raises:
        NotImplementedError: the database is one that Thimble has no triggers for; it must not
            run without them.
    """
    with connection.cursor() as cursor:
        present = set(connection.introspection.table_names(cursor))
        for table, statements in REFUSED.items():
            if table in present:
                for sql in _create(connection.vendor, table, statements):
                    cursor.execute(sql)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Drop the triggers: for a test's clean-up or the reversal of a migration, nothing else."""
    with connection.cursor() as cursor:
        for table, statements in REFUSED.items():
            names = [*statements, "replace" if connection.vendor == "sqlite" else "TRUNCATE"]
            for sql in _drop(connection.vendor, table, names):
                cursor.execute(sql)


def _name(table: str, statement: str) -> str:
    return f"{table}_refuses_{statement.lower()}"


def _create(vendor: str, table: str, statements: tuple[str, ...]) -> list[str]:
    if vendor == "sqlite":
        return [
            f"CREATE TRIGGER IF NOT EXISTS {_name(table, s)} BEFORE {s} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append only: {s} refused'); END"
            for s in statements
        ] + [_refuse_replacing(table)]
    if vendor == "postgresql":
        function = (
            "CREATE OR REPLACE FUNCTION thimble_append_only() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION '% is append only: % refused', TG_TABLE_NAME, TG_OP; END $$"
        )
        sql = [function]
        for s in statements:
            sql += [
                f"DROP TRIGGER IF EXISTS {_name(table, s)} ON {table}",
                f"CREATE TRIGGER {_name(table, s)} BEFORE {s} ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION thimble_append_only()",
            ]
        if "DELETE" in statements:
            sql += [
                f"DROP TRIGGER IF EXISTS {_name(table, 'TRUNCATE')} ON {table}",
                f"CREATE TRIGGER {_name(table, 'TRUNCATE')} BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION thimble_append_only()",
            ]
        return sql
    raise NotImplementedError(
        f"Thimble has no append-only triggers for {vendor}; use SQLite or PostgreSQL"
    )


def _refuse_replacing(table: str) -> str:
    same = " OR ".join(
        "(" + " AND ".join(f'"{column}" = NEW."{column}"' for column in columns) + ")"
        for columns in UNIQUE[table]
    )
    there = f"SELECT 1 FROM {table} WHERE {same}"  # noqa: S608 - our own names
    return (
        f"CREATE TRIGGER IF NOT EXISTS {_name(table, 'replace')} BEFORE INSERT ON {table} "
        f"WHEN EXISTS ({there}) BEGIN "
        f"SELECT RAISE(ABORT, '{table} is append only: such a row is there already'); END"
    )


def _drop(vendor: str, table: str, statements: Sequence[str]) -> list[str]:
    if vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {_name(table, s)}" for s in statements]
    return [f"DROP TRIGGER IF EXISTS {_name(table, s)} ON {table}" for s in statements]
