"""What Alembic's commands run: the migrations, in the transaction that was opened for them."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
