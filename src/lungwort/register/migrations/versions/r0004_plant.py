"""A table for plant sheets.

Nothing of the program's other modules is used here, so that this step stays as it was.
"""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0004"
down_revision: Final = "0003"
branch_labels: Final = None
depends_on: Final = None

_WHOLE: Final = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_NAME: Final = "plant"
_NAMING: Final = ("supply_id", "by_id")


def upgrade() -> None:
    """Add the table; all that is there stays as it is."""
    op.create_table(
        _NAME,
        sa.Column("seq", _WHOLE, nullable=False),
        _text("id"),
        sa.Column("version", _WHOLE, nullable=False),
        _text("reason"),
        sa.Column("voided", sa.Integer(), nullable=False),
        _text("note"),
        _text("supply_id"),
        _text("name"),
        _text("text"),
        _text("sheet_digest"),
        _text("time"),
        _text("by_id"),
        sa.UniqueConstraint("id", "version", name="uq_plant_id_version"),
        sa.ForeignKeyConstraint(["seq"], ["journal.seq"], name="fk_plant_seq"),
        _to_thing("id"),
        *(_to_thing(name) for name in _NAMING),
        sa.PrimaryKeyConstraint("seq", name="pk_plant"),
        sqlite_strict=True,
    )
    for name in _NAMING:
        op.create_index(f"ix_plant_{name}", _NAME, [name])
    if op.get_bind().dialect.name == "sqlite":
        _refuse_in_sqlite()
    else:
        op.execute(
            "CREATE TRIGGER plant_refuse BEFORE UPDATE OR DELETE OR TRUNCATE ON plant "
            "FOR EACH STATEMENT EXECUTE FUNCTION lungwort_refuse()"
        )


def downgrade() -> None:
    """Refuse: a record is never taken back."""
    raise NotImplementedError("A database is not taken back to an older lungwort.")


def _text(name: str, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=nullable)


def _to_thing(column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], ["things.id"], name=f"fk_plant_{column}")


def _refuse_in_sqlite() -> None:
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER plant_no_{action.lower()} BEFORE {action} ON plant "
            f"BEGIN SELECT RAISE(ABORT, '{action} on plant is refused: the record only grows'); END"
        )
    # INSERT OR REPLACE takes a row away without asking the trigger above.
    op.execute(
        "CREATE TRIGGER plant_no_replace BEFORE INSERT ON plant "
        "WHEN EXISTS (SELECT 1 FROM plant WHERE seq = NEW.seq "
        "OR (id = NEW.id AND version = NEW.version)) "
        "BEGIN SELECT RAISE(ABORT, 'REPLACE on plant is refused: the record only grows'); END"
    )
