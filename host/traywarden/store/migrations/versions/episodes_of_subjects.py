"""Episodes and rule states are of a subject (tray, place, probe, host). What was told keeps its id."""

from collections.abc import Callable

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _rebuilt("rule_state", "rule, 'tray-' || tray_id, judged_to_ms, state", _rule_state)
    _rebuilt("episode", "episode_id, rule, 'tray-' || tray_id, opened_ms, closed_ms, facts", _episode)


def _rebuilt(name: str, columns: str, make: Callable[[], None]) -> None:
    """Carried over by way of a plain table: neither database lets go of a primary or foreign key alike."""
    op.execute(f"CREATE TEMPORARY TABLE carried AS SELECT {columns} FROM {name}")
    op.drop_table(name)
    make()
    op.execute(f"INSERT INTO {name} SELECT * FROM carried")
    op.execute("DROP TABLE carried")


def _rule_state() -> None:
    op.create_table(
        "rule_state",
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("judged_to_ms", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("rule", "subject", name=op.f("pk_rule_state")),
    )


def _episode() -> None:
    op.create_table(
        "episode",
        sa.Column("episode_id", sa.Text(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("opened_ms", sa.BigInteger(), nullable=False),
        sa.Column("closed_ms", sa.BigInteger(), nullable=True),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("episode_id", name=op.f("pk_episode")),
    )
    op.create_index("ix_episode_subject_rule", "episode", ["subject", "rule"], unique=False)
