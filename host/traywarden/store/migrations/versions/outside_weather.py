"""Weather from outside: imported forecasts by the hour, and weather of past years by the day."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "forecast",
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("issued_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("time_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("air_temp_c", sa.Float(), nullable=True),
        sa.Column("rh_pct", sa.Float(), nullable=True),
        sa.Column("rain_mm", sa.Float(), nullable=True),
        sa.Column("wind_m_s", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("source", "issued_ms", "time_ms", name=op.f("pk_forecast")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "weather_day",
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("day", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("air_min_c", sa.Float(), nullable=True),
        sa.Column("air_max_c", sa.Float(), nullable=True),
        sa.Column("rain_mm", sa.Float(), nullable=True),
        sa.Column("wind_m_s", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("source", "day", name=op.f("pk_weather_day")),
        sqlite_with_rowid=False,
    )
