"""Runs the steps on the connection the program hands over; the address is never written down."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=None,
    transactional_ddl=True,
)
context.run_migrations()
