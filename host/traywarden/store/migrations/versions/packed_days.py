"""Packed days: what questions over a season read instead of single readings. All are to be packed."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "kept_result",
        sa.Column("head_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("result", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["head_id"], ["head.head_id"], name=op.f("fk_kept_result_head_id")),
        sa.PrimaryKeyConstraint("head_id", "digest", name=op.f("pk_kept_result")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "packed_day",
        sa.Column("head_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("day", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("times", sa.LargeBinary(), nullable=False),
        sa.Column("soil_temp_c", sa.LargeBinary(), nullable=True),
        sa.Column("moisture_v", sa.LargeBinary(), nullable=True),
        sa.Column("moisture_m3_m3", sa.LargeBinary(), nullable=True),
        sa.Column("air_temp_c", sa.LargeBinary(), nullable=True),
        sa.Column("rh_pct", sa.LargeBinary(), nullable=True),
        sa.Column("battery_v", sa.LargeBinary(), nullable=True),
        sa.Column("rain_mm", sa.LargeBinary(), nullable=True),
        sa.Column("flags", sa.LargeBinary(), nullable=True),
        sa.ForeignKeyConstraint(["head_id"], ["head.head_id"], name=op.f("fk_packed_day_head_id")),
        sa.PrimaryKeyConstraint("head_id", "day", name=op.f("pk_packed_day")),
    )
    op.create_table(
        "packing",
        sa.Column("packing_id", sa.Integer(), nullable=False),
        sa.Column("rules", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("packing_id", name=op.f("pk_packing")),
    )
    op.create_table(
        "stale_day",
        sa.Column("head_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("day", sa.Integer(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(["head_id"], ["head.head_id"], name=op.f("fk_stale_day_head_id")),
        sa.PrimaryKeyConstraint("head_id", "day", name=op.f("pk_stale_day")),
        sqlite_with_rowid=False,
    )
    # Division of integers goes towards zero in both databases; days before 1970 go the other way.
    op.execute(
        "INSERT INTO stale_day (head_id, day) "
        "SELECT DISTINCT head_id, CASE WHEN time_ms < 0 THEN (time_ms - 86399999) / 86400000 "
        "ELSE time_ms / 86400000 END FROM reading"
    )
