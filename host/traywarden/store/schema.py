"""Tables. Times are integer milliseconds since 1970-01-01T00:00Z; quantities carry their unit in the name."""

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}
REVISIONS = ("0001", "0003", "0004", "0005", "0006", "0007")
"""Every revision of these tables, oldest first; the last is the one this program works with."""
VERSION_TABLE = "traywarden_schema"

metadata = MetaData(naming_convention=NAMING)
Moment = BigInteger

garden = Table(
    "garden",
    metadata,
    Column("garden_id", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("slug", Text, nullable=False, unique=True),
    Column("time_zone", Text, nullable=False),
    Column("latitude_deg", Float),
    Column("longitude_deg", Float),
    Column("created_ms", Moment, nullable=False),
)
place = Table(
    "place",
    metadata,
    Column("place_id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
    Column("covered", Boolean, nullable=False),
    Column("note", Text, nullable=False, default=""),
)
mix = Table(
    "mix",
    metadata,
    Column("mix_id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("parts", JSON, nullable=False),
    Column("container_capacity_m3_m3", Float, nullable=False),
    Column("dry_line_m3_m3", Float, nullable=False),
    Column("note", Text, nullable=False, default=""),
)
tray = Table(
    "tray",
    metadata,
    Column("tray_id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("cells", Integer),
    Column("litres", Float),
    Column("note", Text, nullable=False, default=""),
)
lot = Table(
    "lot",
    metadata,
    Column("lot_id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("crop", Text, nullable=False),
    Column("germination", Float),
    Column("tested", Boolean, nullable=False, default=False),
    Column("seeds", Integer),
    Column("price", Float),
    Column("note", Text, nullable=False, default=""),
)
probe = Table(
    "probe",
    metadata,
    Column("probe_id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("first_seen_ms", Moment, nullable=False),
    Column("last_seen_ms", Moment, nullable=False),
    Column("state", JSON),
    Column("state_ms", Moment),
    Column("note", Text, nullable=False, default=""),
)
head = Table(
    "head",
    metadata,
    Column("head_id", Integer, primary_key=True),
    Column("probe_id", ForeignKey("probe.probe_id"), nullable=False),
    Column("number", Integer, nullable=False),
    UniqueConstraint("probe_id", "number"),
)
reading = Table(
    "reading",
    metadata,
    Column("head_id", ForeignKey("head.head_id"), primary_key=True, autoincrement=False),
    Column("time_ms", Moment, primary_key=True),
    Column("boot", Moment, primary_key=True),
    Column("sequence", Moment, primary_key=True),
    Column("received_ms", Moment, nullable=False),
    Column("soil_temp_c", Float),
    Column("moisture_v", Float),
    Column("moisture_m3_m3", Float),
    Column("air_temp_c", Float),
    Column("rh_pct", Float),
    Column("battery_v", Float),
    Column("rain_mm", Float),
    Column("extra", Text),
    Index("uq_reading_identity", "head_id", "boot", "sequence", unique=True),
    sqlite_with_rowid=False,
)
forecast = Table(
    "forecast",
    metadata,
    Column("source", Text, primary_key=True),
    Column("issued_ms", Moment, primary_key=True, autoincrement=False),
    Column("time_ms", Moment, primary_key=True, autoincrement=False),  # start of the hour
    Column("air_temp_c", Float),
    Column("rh_pct", Float),
    Column("rain_mm", Float),
    Column("wind_m_s", Float),
    sqlite_with_rowid=False,
)
weather_day = Table(
    "weather_day",
    metadata,
    Column("source", Text, primary_key=True),
    Column("day", Integer, primary_key=True, autoincrement=False),  # garden's calendar day since 1970-01-01
    Column("air_min_c", Float),
    Column("air_max_c", Float),
    Column("rain_mm", Float),
    Column("wind_m_s", Float),
    sqlite_with_rowid=False,
)
packed_day = Table(
    "packed_day",
    metadata,
    Column("head_id", ForeignKey("head.head_id"), primary_key=True, autoincrement=False),
    Column("day", Integer, primary_key=True, autoincrement=False),  # UTC day since 1970-01-01
    Column("count", Integer, nullable=False),
    Column("times", LargeBinary, nullable=False),
    Column("soil_temp_c", LargeBinary),
    Column("moisture_v", LargeBinary),
    Column("moisture_m3_m3", LargeBinary),
    Column("air_temp_c", LargeBinary),
    Column("rh_pct", LargeBinary),
    Column("battery_v", LargeBinary),
    Column("rain_mm", LargeBinary),
    Column("flags", LargeBinary),
)
stale_day = Table(  # days to pack (again); written in the transaction that stores their readings
    "stale_day",
    metadata,
    Column("head_id", ForeignKey("head.head_id"), primary_key=True, autoincrement=False),
    Column("day", Integer, primary_key=True, autoincrement=False),
    sqlite_with_rowid=False,
)
packing = Table(  # one row: the rules by which every packed day was flagged
    "packing",
    metadata,
    Column("packing_id", Integer, primary_key=True),
    Column("rules", Text, nullable=False),
)
kept_result = Table(  # what was worked out from readings of a head, by a digest of all it hangs on
    "kept_result",
    metadata,
    Column("head_id", ForeignKey("head.head_id"), primary_key=True, autoincrement=False),
    Column("digest", LargeBinary, primary_key=True),
    Column("result", LargeBinary, nullable=False),
    sqlite_with_rowid=False,
)
quarantine = Table(
    "quarantine",
    metadata,
    Column("quarantine_id", Integer, primary_key=True),
    Column("fingerprint", Text, nullable=False, unique=True),  # SHA-256 of topic and whole payload
    Column("topic", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("payload", LargeBinary, nullable=False),  # the first 64 KiB
    Column("payload_bytes", Integer, nullable=False),  # its whole length
    Column("first_ms", Moment, nullable=False),
    Column("last_ms", Moment, nullable=False),
    Column("times", Integer, nullable=False, default=1),
)
journal = Table(
    "journal",
    metadata,
    Column("entry_id", Integer, primary_key=True),
    Column("at_ms", Moment, nullable=False, index=True),
    Column("written_ms", Moment, nullable=False),
    Column("kind", Text, nullable=False),
    Column("tray_id", ForeignKey("tray.tray_id")),
    Column("place_id", ForeignKey("place.place_id")),
    Column("mix_id", ForeignKey("mix.mix_id")),
    Column("head_id", ForeignKey("head.head_id")),
    Column("lot_id", ForeignKey("lot.lot_id")),
    Column("data", JSON, nullable=False, default=dict),
    Column("note", Text, nullable=False, default=""),
    Column("replaces", ForeignKey("journal.entry_id")),
    sqlite_autoincrement=True,
)
rule_state = Table(
    "rule_state",
    metadata,
    Column("rule", Text, primary_key=True),
    Column("subject", Text, primary_key=True),  # domain/subjects.py: “tray-3”, “host”
    Column("judged_to_ms", Moment, nullable=False),  # newest measured time that has been judged
    Column("state", JSON, nullable=False),
)
episode = Table(
    "episode",
    metadata,
    Column("episode_id", Text, primary_key=True),  # rule:subject:start
    Column("rule", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("opened_ms", Moment, nullable=False),
    Column("closed_ms", Moment),
    Column("facts", JSON, nullable=False),  # the numbers behind the verdict that opened it
    Index("ix_episode_subject_rule", "subject", "rule"),
)
notice = Table(
    "notice",
    metadata,
    Column("notice_id", Text, primary_key=True),  # on every attempt, so that a receiver can tell doubles
    Column("channel", Text, nullable=False),
    Column("severity", Text, nullable=False),
    Column("title", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("changes", JSON, nullable=False),  # [[episode_id, "opened" | "closed" | "past"], …]
    Column("created_ms", Moment, nullable=False),
    Column("state", Text, nullable=False),  # held, waiting, sent, parked
    Column("attempts", Integer, nullable=False, default=0),
    Column("next_try_ms", Moment, nullable=False),
    Column("sent_ms", Moment),
    Column("trouble", Text, nullable=False, default=""),  # why the last attempt failed, or why it is held
    Column("waits_for", Text, nullable=False, server_default=""),  # what it is or was held for
    Index("ix_notice_state_next_try_ms", "state", "next_try_ms"),
)
notice_change = Table(  # the same as notice.changes, to find the notices of an episode by
    "notice_change",
    metadata,
    Column("notice_id", ForeignKey("notice.notice_id"), primary_key=True),
    Column("episode_id", Text, primary_key=True),
    Column("kind", Text, primary_key=True),
    Index("ix_notice_change_episode_id", "episode_id"),
)
hush = Table(
    "hush",
    metadata,
    Column("hush_id", Integer, primary_key=True),
    Column("rule", Text),  # None: every rule
    Column("subject", Text),  # as in episode.subject; None: the whole garden
    Column("from_ms", Moment, nullable=False),
    Column("until_ms", Moment, nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("ended_ms", Moment),  # taken back before its time
    Column("ended_by", Text, nullable=False, default=""),
    Index("ix_hush_until_ms", "until_ms"),
)
used_link = Table(  # links of notices that have done what they were for
    "used_link",
    metadata,
    Column("link", Text, primary_key=True),
    Column("used_ms", Moment, nullable=False),
    Column("did", Text, nullable=False),
)
api_token = Table(  # what lets a program in; of the token itself only this is kept
    "api_token",
    metadata,
    Column("name", Text, primary_key=True),
    Column("digest", Text, nullable=False, unique=True),  # SHA-256 of the token, as hex
    Column("writes", Boolean, nullable=False),
    Column("made_ms", Moment, nullable=False),
)
