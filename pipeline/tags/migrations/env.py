"""Run by Alembic: steps are taken on the connection that the store gives, inside its transaction."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=context.config.attributes.get("metadata"),
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
