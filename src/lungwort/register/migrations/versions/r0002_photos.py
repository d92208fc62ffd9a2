"""A table for photos that are taken in tests by hand.

Nothing of the program's other modules is used here, so that this step stays as it was.
"""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0002"
down_revision: Final = "0001"
branch_labels: Final = None
depends_on: Final = None

_WHOLE: Final = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_NAME: Final = "photo"


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
        _text("hand_test_id"),
        _text("step"),
        _text("name"),
        _text("media_type"),
        _text("photo_sha256"),
        sa.Column("size_bytes", _WHOLE, nullable=False),
        _text("time"),
        _text("by_id"),
        sa.UniqueConstraint("id", "version", name="uq_photo_id_version"),
        sa.ForeignKeyConstraint(["seq"], ["journal.seq"], name="fk_photo_seq"),
        _to_thing("id"),
        _to_thing("hand_test_id"),
        _to_thing("by_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_photo"),
        sqlite_strict=True,
    )
    op.create_index("ix_photo_hand_test_id", _NAME, ["hand_test_id"])
    op.create_index("ix_photo_by_id", _NAME, ["by_id"])
    if op.get_bind().dialect.name == "sqlite":
        _refuse_in_sqlite()
    else:
        op.execute(
            "CREATE TRIGGER photo_refuse BEFORE UPDATE OR DELETE OR TRUNCATE ON photo "
            "FOR EACH STATEMENT EXECUTE FUNCTION lungwort_refuse()"
        )


def downgrade() -> None:
    """Refuse: a record is never taken back."""
    raise NotImplementedError("A database is not taken back to an older lungwort.")


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def _to_thing(column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], ["things.id"], name=f"fk_photo_{column}")


def _refuse_in_sqlite() -> None:
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER photo_no_{action.lower()} BEFORE {action} ON photo "
            f"BEGIN SELECT RAISE(ABORT, '{action} on photo is refused: the record only grows'); END"
        )
    # INSERT OR REPLACE takes a row away without asking the trigger above.
    op.execute(
        "CREATE TRIGGER photo_no_replace BEFORE INSERT ON photo "
        "WHEN EXISTS (SELECT 1 FROM photo WHERE seq = NEW.seq "
        "OR (id = NEW.id AND version = NEW.version)) "
        "BEGIN SELECT RAISE(ABORT, 'REPLACE on photo is refused: the record only grows'); END"
    )
