"""Run by Alembic: migrates over the connection, and inside the transaction, that the store opened."""

from alembic import context

from tracker.store.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
