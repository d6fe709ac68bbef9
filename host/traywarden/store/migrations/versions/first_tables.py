"""First tables: garden, probes, readings, journal, rules and notices."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "garden",
        sa.Column("garden_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("slug", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("latitude_deg", sa.Float(), nullable=True),
        sa.Column("longitude_deg", sa.Float(), nullable=True),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("garden_id", name=op.f("pk_garden")),
        sa.UniqueConstraint("slug", name=op.f("uq_garden_slug")),
    )
    op.create_table(
        "lot",
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("germination", sa.Float(), nullable=True),
        sa.Column("tested", sa.Boolean(), nullable=False),
        sa.Column("seeds", sa.Integer(), nullable=True),
        sa.Column("price", sa.Float(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("lot_id", name=op.f("pk_lot")),
        sa.UniqueConstraint("name", name=op.f("uq_lot_name")),
    )
    op.create_table(
        "mix",
        sa.Column("mix_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("parts", sa.JSON(), nullable=False),
        sa.Column("container_capacity_m3_m3", sa.Float(), nullable=False),
        sa.Column("dry_line_m3_m3", sa.Float(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("mix_id", name=op.f("pk_mix")),
        sa.UniqueConstraint("name", name=op.f("uq_mix_name")),
    )
    op.create_table(
        "notice",
        sa.Column("notice_id", sa.Text(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("changes", sa.JSON(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_try_ms", sa.BigInteger(), nullable=False),
        sa.Column("sent_ms", sa.BigInteger(), nullable=True),
        sa.Column("trouble", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("notice_id", name=op.f("pk_notice")),
    )
    op.create_index("ix_notice_state_next_try_ms", "notice", ["state", "next_try_ms"], unique=False)
    op.create_table(
        "place",
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("covered", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("place_id", name=op.f("pk_place")),
        sa.UniqueConstraint("name", name=op.f("uq_place_name")),
    )
    op.create_table(
        "probe",
        sa.Column("probe_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("first_seen_ms", sa.BigInteger(), nullable=False),
        sa.Column("last_seen_ms", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.JSON(), nullable=True),
        sa.Column("state_ms", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("probe_id", name=op.f("pk_probe")),
        sa.UniqueConstraint("name", name=op.f("uq_probe_name")),
    )
    op.create_table(
        "quarantine",
        sa.Column("quarantine_id", sa.Integer(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.Column("payload_bytes", sa.Integer(), nullable=False),
        sa.Column("first_ms", sa.BigInteger(), nullable=False),
        sa.Column("last_ms", sa.BigInteger(), nullable=False),
        sa.Column("times", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("quarantine_id", name=op.f("pk_quarantine")),
        sa.UniqueConstraint("fingerprint", name=op.f("uq_quarantine_fingerprint")),
    )
    op.create_table(
        "tray",
        sa.Column("tray_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("cells", sa.Integer(), nullable=True),
        sa.Column("litres", sa.Float(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("tray_id", name=op.f("pk_tray")),
        sa.UniqueConstraint("name", name=op.f("uq_tray_name")),
    )
    op.create_table(
        "episode",
        sa.Column("episode_id", sa.Text(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("tray_id", sa.Integer(), nullable=False),
        sa.Column("opened_ms", sa.BigInteger(), nullable=False),
        sa.Column("closed_ms", sa.BigInteger(), nullable=True),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["tray_id"], ["tray.tray_id"], name=op.f("fk_episode_tray_id")),
        sa.PrimaryKeyConstraint("episode_id", name=op.f("pk_episode")),
    )
    op.create_index("ix_episode_tray_id_rule", "episode", ["tray_id", "rule"], unique=False)
    op.create_table(
        "head",
        sa.Column("head_id", sa.Integer(), nullable=False),
        sa.Column("probe_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["probe_id"], ["probe.probe_id"], name=op.f("fk_head_probe_id")),
        sa.PrimaryKeyConstraint("head_id", name=op.f("pk_head")),
        sa.UniqueConstraint("probe_id", "number", name=op.f("uq_head_probe_id_number")),
    )
    op.create_table(
        "rule_state",
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("tray_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("judged_to_ms", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["tray_id"], ["tray.tray_id"], name=op.f("fk_rule_state_tray_id")),
        sa.PrimaryKeyConstraint("rule", "tray_id", name=op.f("pk_rule_state")),
    )
    op.create_table(
        "journal",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("written_ms", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("tray_id", sa.Integer(), nullable=True),
        sa.Column("place_id", sa.Integer(), nullable=True),
        sa.Column("mix_id", sa.Integer(), nullable=True),
        sa.Column("head_id", sa.Integer(), nullable=True),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("replaces", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["head_id"], ["head.head_id"], name=op.f("fk_journal_head_id")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.lot_id"], name=op.f("fk_journal_lot_id")),
        sa.ForeignKeyConstraint(["mix_id"], ["mix.mix_id"], name=op.f("fk_journal_mix_id")),
        sa.ForeignKeyConstraint(["place_id"], ["place.place_id"], name=op.f("fk_journal_place_id")),
        sa.ForeignKeyConstraint(["replaces"], ["journal.entry_id"], name=op.f("fk_journal_replaces")),
        sa.ForeignKeyConstraint(["tray_id"], ["tray.tray_id"], name=op.f("fk_journal_tray_id")),
        sa.PrimaryKeyConstraint("entry_id", name=op.f("pk_journal")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_journal_at_ms"), "journal", ["at_ms"], unique=False)
    op.create_table(
        "reading",
        sa.Column("head_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("time_ms", sa.BigInteger(), nullable=False),
        sa.Column("boot", sa.BigInteger(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("received_ms", sa.BigInteger(), nullable=False),
        sa.Column("soil_temp_c", sa.Float(), nullable=True),
        sa.Column("moisture_v", sa.Float(), nullable=True),
        sa.Column("moisture_m3_m3", sa.Float(), nullable=True),
        sa.Column("air_temp_c", sa.Float(), nullable=True),
        sa.Column("rh_pct", sa.Float(), nullable=True),
        sa.Column("battery_v", sa.Float(), nullable=True),
        sa.Column("rain_mm", sa.Float(), nullable=True),
        sa.Column("extra", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["head_id"], ["head.head_id"], name=op.f("fk_reading_head_id")),
        sa.PrimaryKeyConstraint("head_id", "time_ms", "boot", "sequence", name=op.f("pk_reading")),
        sqlite_with_rowid=False,
    )
    op.create_index("uq_reading_identity", "reading", ["head_id", "boot", "sequence"], unique=True)
