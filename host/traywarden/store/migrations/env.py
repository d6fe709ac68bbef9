"""Runs migrations on the connection that the store hands over, inside the store's own transaction."""

from alembic import context

from traywarden.store import schema

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=schema.metadata,
    version_table=schema.VERSION_TABLE,
    render_as_batch=True,
)
context.run_migrations()
