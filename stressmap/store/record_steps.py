"""The steps from the tables of one version to those of the next, written with Alembic's operations.

A step says what changed then, never what the tables are today: it must do the same in ten years. The views
are dropped before the first step and made again after the last: SQLite changes a table by making another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

import sqlalchemy as sa

if TYPE_CHECKING:
    from alembic.operations import Operations

Step = Callable[["Operations"], None]
NAMING = {"fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s"}
"""How Alembic is to call foreign keys that were made without a name."""


def run_step(connection: sa.Connection, step: Step) -> None:
    """Run a step in the transaction that is open.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    step : callable
        One of :data:`STEPS`.
    """
    from alembic.migration import MigrationContext
    from alembic.operations import Operations

    context = MigrationContext.configure(connection, opts={"transactional_ddl": True})
    with Operations.context(context) as operations:
        step(operations)


def _ranch_of_import(operations: Operations) -> None:
    """Hold a row to an import of its own ranch, and tell who added a file."""
    operations.add_column("imports", sa.Column("added_by", sa.Text))
    operations.create_index("imports_of_ranch", "imports", ["ranch", "id"], unique=True)
    for name in ("readings", "valve_times"):
        with operations.batch_alter_table(name, naming_convention=NAMING) as table:
            table.drop_constraint(f"fk_{name}_import_id_imports", type_="foreignkey")
            table.create_foreign_key(f"{name}_of_import", "imports", ["ranch", "import_id"], ["ranch", "id"])


STEPS: Mapping[int, Step] = MappingProxyType({1: _ranch_of_import})
"""By the version that they start from."""
