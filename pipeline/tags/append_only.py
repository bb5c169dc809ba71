"""Triggers by which the database itself refuses to change or take away a line of the history."""

from __future__ import annotations

from sqlalchemy import Connection, text

REFUSED = "the history is append-only"


def make_append_only(connection: Connection, table: str) -> None:
    """Let a table only grow: on SQLite and on PostgreSQL, where emptying it is refused too."""
    if connection.dialect.name == "sqlite":
        for deed in ("UPDATE", "DELETE"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSED}'); END"
            )
        return
    connection.execute(
        text(
            "CREATE OR REPLACE FUNCTION elbowroom_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{REFUSED}'; END $$"
        )
    )
    connection.execute(
        text(
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION elbowroom_refuse()"
        )
    )


def allow_change(connection: Connection, table: str) -> None:
    """Take the triggers off a table, within a transaction that puts them on again: a backup is being restored."""
    if connection.dialect.name == "sqlite":
        for deed in ("update", "delete"):
            connection.exec_driver_sql(f"DROP TRIGGER {table}_no_{deed}")
        return
    connection.execute(text(f"DROP TRIGGER {table}_no_change ON {table}"))
