"""Alembic's entry: the connection comes from the program, or else from DATABASE_URL."""

from __future__ import annotations

from alembic import context

from app.config import Settings
from app.schema import all_tables
from app.store.engine import open_engines


def run(connection: object) -> None:
    """Run the migrations on a connection, in the transaction that it is in."""
    context.configure(
        connection=connection,  # type: ignore[arg-type]
        target_metadata=all_tables(),
        render_as_batch=True,
        compare_type=True,
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    engines = open_engines(Settings().database_url)
    with engines.writing.connect() as conn, conn.begin():
        run(conn)
    engines.dispose()
