"""Hushes, what a notice is held for, notices found by their episode, and links that were used."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "hush",
        sa.Column("hush_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=True),
        sa.Column("subject", sa.Text(), nullable=True),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("ended_ms", sa.BigInteger(), nullable=True),
        sa.Column("ended_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("hush_id", name=op.f("pk_hush")),
    )
    op.create_index("ix_hush_until_ms", "hush", ["until_ms"], unique=False)
    op.create_table(
        "used_link",
        sa.Column("link", sa.Text(), nullable=False),
        sa.Column("used_ms", sa.BigInteger(), nullable=False),
        sa.Column("did", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("link", name=op.f("pk_used_link")),
    )
    op.add_column("notice", sa.Column("waits_for", sa.Text(), server_default="", nullable=False))
    op.create_table(
        "notice_change",
        sa.Column("notice_id", sa.Text(), nullable=False),
        sa.Column("episode_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["notice_id"], ["notice.notice_id"], name=op.f("fk_notice_change_notice_id")),
        sa.PrimaryKeyConstraint("notice_id", "episode_id", "kind", name=op.f("pk_notice_change")),
    )
    op.create_index("ix_notice_change_episode_id", "notice_change", ["episode_id"], unique=False)
    _find_changes()
    _name_reasons()


def _find_changes() -> None:
    """A row for every change that the notices of old tell."""
    here = op.get_bind()
    rows = [
        {"notice_id": notice_id, "episode_id": episode_id, "kind": kind}
        for notice_id, changes in here.execute(sa.text("SELECT notice_id, changes FROM notice")).all()
        for episode_id, kind in (json.loads(changes) if isinstance(changes, str) else changes)
    ]
    if rows:
        here.execute(
            sa.text("INSERT INTO notice_change VALUES (:notice_id, :episode_id, :kind)"),
            [dict(row) for row in {tuple(row.items()): row for row in rows}.values()],
        )


def _name_reasons() -> None:
    """Held notices of old said what they wait for in words alone."""
    for words, name in (("%caught up", "readings"), ("%been told", "beginning")):
        op.get_bind().execute(
            sa.text("UPDATE notice SET waits_for = :name WHERE state = 'held' AND trouble LIKE :words"),
            {"name": name, "words": words},
        )
