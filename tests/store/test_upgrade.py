"""Tables are made and changed by migrations alone, after a copy has been kept."""

import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text

from tests.postgres_server import PostgresServer
from tests.store.sample import all_readings, reading
from traywarden.domain import subjects
from traywarden.domain.episodes import Episode
from traywarden.domain.notices import Hold
from traywarden.domain.readings import Reading
from traywarden.errors import StoreError
from traywarden.store import backup, episodes, garden, notices, packed, probes, readings, schema, upgrade
from traywarden.store.store import Store

NEWEST = schema.REVISIONS[-1]
LATER = '''
"""An invented later revision."""
import sqlalchemy as sa
from alembic import op

revision = "9999"
down_revision = "{before}"


def upgrade() -> None:
    op.add_column("tray", sa.Column("colour", sa.Text()))
    {then}
'''


def with_later_revision(monkeypatch: pytest.MonkeyPatch, folder: Path, then: str = "") -> None:
    """The program as it will be once a second revision exists."""
    migrations = folder / "migrations"
    shutil.copytree(upgrade.MIGRATIONS, migrations, ignore=shutil.ignore_patterns("__pycache__"))
    (migrations / "versions" / "later.py").write_text(LATER.format(then=then, before=schema.REVISIONS[-1]))
    monkeypatch.setattr(upgrade, "MIGRATIONS", migrations)
    monkeypatch.setattr(schema, "REVISIONS", (*schema.REVISIONS, "9999"))


def filled(url: str) -> None:
    with Store.open(url) as store, store.write() as tx:
        readings.insert(tx, [reading(n) for n in range(100)])


def columns_of_tray(store: Store) -> set[str]:
    with store.read() as tx:
        return {column["name"] for column in inspect(tx).get_columns("tray")}


def test_migrations_make_exactly_the_tables_of_the_schema(empty_url: str) -> None:
    with Store.open(empty_url) as store, store.write() as tx:
        options = {"version_table": schema.VERSION_TABLE, "compare_type": True}
        context = MigrationContext.configure(tx, opts=options)
        assert compare_metadata(context, schema.metadata) == []


def test_readings_are_clustered_by_head_and_time_in_sqlite(sqlite_store: Store) -> None:
    with sqlite_store.read() as tx:
        made = tx.execute(text("SELECT sql FROM sqlite_master WHERE name = 'reading'")).scalar_one()
    assert "WITHOUT ROWID" in made


def test_the_program_knows_every_revision_in_its_order() -> None:
    script = ScriptDirectory.from_config(upgrade.config())
    assert tuple(reversed([each.revision for each in script.walk_revisions()])) == schema.REVISIONS
    assert script.get_current_head() == schema.REVISIONS[-1]


def test_a_store_that_is_up_to_date_opens_without_loading_alembic(empty_url: str) -> None:
    """The host is restarted often; Alembic alone takes longer to load than all the rest."""
    Store.open(empty_url).close()
    program = (
        "import sys; from traywarden.store.store import Store; "
        f"Store.open({empty_url!r}).close(); print('alembic' in sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert ran.stdout == "False\n"


def test_programs_that_open_a_new_store_at_once_make_it_once(empty_url: str) -> None:
    program = f"from traywarden.store.store import Store; Store.open({empty_url!r}).close()"
    running = [subprocess.Popen([sys.executable, "-W", "error", "-c", program]) for _ in range(3)]
    assert [each.wait() for each in running] == [0, 0, 0]
    with Store.open(empty_url) as store:
        assert store.revision() == schema.REVISIONS[-1]


def test_before_an_upgrade_a_copy_is_kept_beside_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.sqlite3"
    filled(f"sqlite:///{path}")
    with_later_revision(monkeypatch, tmp_path)
    with Store.open(f"sqlite:///{path}") as store:
        assert store.revision() == "9999"
        assert "colour" in columns_of_tray(store)
        assert len(all_readings(store)) == 100
    (copy,) = tmp_path.glob("a.sqlite3.before-9999-*Z")
    with closing(sqlite3.connect(copy)) as kept:
        assert kept.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchall() == [(NEWEST,)]
        assert kept.execute("SELECT count(*) FROM reading").fetchone() == (100,)
        assert kept.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    Store.open(f"sqlite:///{path}").close()
    assert len(list(tmp_path.glob("*before*"))) == 1  # nothing to upgrade, nothing to copy


def test_a_copy_takes_in_what_is_committed_but_still_in_the_log(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    with Store.open(f"sqlite:///{path}") as store:
        with store.write() as tx:
            readings.insert(tx, [reading(n) for n in range(100)])
        assert path.with_name("a.sqlite3-wal").stat().st_size > 0
        copy = backup.copy_sqlite(path, "9999")
    with Store.open(f"sqlite:///{copy}") as store:
        assert len(all_readings(store)) == 100


def test_a_new_store_needs_no_copy(empty_url: str, tmp_path: Path) -> None:
    Store.open(empty_url, backup_folder=tmp_path).close()
    assert list(tmp_path.rglob("*before*")) == []


def test_a_copy_that_cannot_be_made_stops_the_upgrade(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.sqlite3"
    filled(f"sqlite:///{path}")
    with_later_revision(monkeypatch, tmp_path)
    monkeypatch.setattr(backup, "_stamp", lambda: "x" * 300)  # longer than a file's name may be
    with pytest.raises(StoreError, match="before-9999"):
        Store.open(f"sqlite:///{path}")
    with closing(sqlite3.connect(path)) as kept:
        assert kept.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchall() == [(NEWEST,)]


def test_a_migration_that_fails_half_way_leaves_the_store_as_it_was(
    empty_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(empty_url)
    with monkeypatch.context() as later:
        with_later_revision(later, tmp_path, then="op.execute('this is no SQL')")
        with pytest.raises(StoreError, match="refused"):
            Store.open(empty_url, backup=False)
    with Store.open(empty_url) as store:
        assert store.revision() == NEWEST
        assert "colour" not in columns_of_tray(store)
        assert len(all_readings(store)) == 100


def test_postgresql_is_dumped_before_an_upgrade_and_the_dump_restores(
    postgres_server: PostgresServer, postgres_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(postgres_url)
    monkeypatch.setenv("PATH", str(postgres_server.binaries), prepend=":")
    with monkeypatch.context() as later:
        with_later_revision(later, tmp_path)
        with Store.open(postgres_url, backup_folder=tmp_path) as store:
            assert "colour" in columns_of_tray(store)
    (dump,) = tmp_path.glob("*.before-9999-*.dump")
    restored = postgres_server.new_database()
    command = [f"{postgres_server.binaries}/pg_restore", "-d", postgres_server.url(restored), str(dump)]
    subprocess.run(command, check=True, capture_output=True)
    with Store.open(postgres_server.url(restored)) as store:
        assert store.revision() == NEWEST
        assert len(all_readings(store)) == 100
    postgres_server.drop(restored)


def test_without_pg_dump_an_upgrade_is_refused_with_a_way_on(
    postgres_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(postgres_url)
    with_later_revision(monkeypatch, tmp_path)
    with monkeypatch.context() as bare:
        bare.setenv("PATH", str(tmp_path))
        with pytest.raises(StoreError, match=r"install postgresql-client, or .* backup=False") as caught:
            Store.open(postgres_url)
    assert "pg_dump" in str(caught.value)
    with Store.open(postgres_url, backup=False) as store:
        assert store.revision() == "9999"


def test_a_dump_that_fails_says_why_and_leaves_nothing_half_made(
    postgres_server: PostgresServer, postgres_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(postgres_url)
    monkeypatch.setenv("PATH", str(postgres_server.binaries), prepend=":")
    with_later_revision(monkeypatch, tmp_path)
    with pytest.raises(StoreError, match="pg_dump: "):
        Store.open(postgres_url, backup_folder=tmp_path / "absent")
    assert list(tmp_path.rglob("*.dump")) == []


def first_store(url: str, monkeypatch: pytest.MonkeyPatch, rows: Sequence[Reading]) -> None:
    """A store of the first revision with these readings, as the first program left it."""
    with monkeypatch.context() as before:
        before.setattr(schema, "REVISIONS", ("0001",))
        before.setattr(upgrade, "upgrade", lambda tx: command.upgrade(upgrade.config(tx), "0001"))
        before.setattr(packed, "mark", lambda tx, slots: None)  # there was no table to mark days in
        with Store.open(url) as store, store.write() as tx:
            readings.insert(tx, rows)


def test_a_store_of_the_first_revision_is_copied_and_has_all_its_days_to_pack(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.sqlite3"
    first_store(f"sqlite:///{path}", monkeypatch, [reading(n) for n in range(250)])
    with Store.open(f"sqlite:///{path}") as store:
        assert store.revision() == NEWEST
        assert len(all_readings(store)) == 250
    (copy,) = tmp_path.glob(f"a.sqlite3.before-{NEWEST}-*Z")
    with closing(sqlite3.connect(copy)) as kept:
        assert kept.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchall() == [("0001",)]
        assert kept.execute("SELECT count(*) FROM reading").fetchone() == (250,)
        assert kept.execute("SELECT count(*) FROM sqlite_master WHERE name = 'packed_day'").fetchone() == (0,)


def test_after_an_upgrade_every_day_with_a_reading_waits_to_be_packed(
    empty_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also the days before 1970, which a logger with a wrong clock may bring."""
    day_ms = 86_400_000
    rows = [reading(n, time_ms=at, soil_temp_c=1.0) for n, at in enumerate((-day_ms - 1, -1, 0, 5 * day_ms))]
    first_store(empty_url, monkeypatch, [*rows, reading(9, probe="other", time_ms=7 * day_ms, rh_pct=50.0)])
    with Store.open(empty_url, backup=False) as store, store.read() as tx:
        ids = {head.label: head.head_id for head in probes.heads(tx)}
        waiting = packed.waiting(tx, 10**6, 100)
    assert waiting == sorted([(ids["bench-1/1"], day) for day in (-2, -1, 0, 5)] + [(ids["other/1"], 7)])


def test_episodes_and_rule_states_of_trays_are_carried_over_to_subjects(
    empty_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Under their old ids: notices that were sent name them."""
    with monkeypatch.context() as before:
        before.setattr(schema, "REVISIONS", ("0005",))
        before.setattr(upgrade, "upgrade", lambda tx: command.upgrade(upgrade.config(tx), "0005"))
        with Store.open(empty_url) as store, store.write() as tx:
            tray_id = garden.add_tray(tx, "A").tray_id
            values = {"rule": "dry", "tray": tray_id, "at": 100, "state": '{"open_since_ms": 50}'}
            tx.execute(text("INSERT INTO rule_state VALUES (:rule, :tray, :at, :state)"), values)
            values |= {"name": f"dry:{tray_id}:50", "opened": 50, "facts": '{"mix": "Erde"}'}
            tx.execute(
                text("INSERT INTO episode VALUES (:name, :rule, :tray, :opened, NULL, :facts)"), values
            )
    subject = subjects.a_tray(tray_id)
    with Store.open(empty_url, backup=False) as store, store.read() as tx:
        assert episodes.episodes(tx, subject=subject, open_only=True) == [
            Episode(f"dry:{tray_id}:50", "dry", subject, 50, None, {"mix": "Erde"})
        ]
        state, _ = episodes.rule_states(tx)["dry", subject]
        assert (state.judged_to_ms, state.open_since_ms) == (100, 50)


OLD_NOTICE = (
    "INSERT INTO notice (notice_id, channel, severity, title, body, changes, created_ms, state, attempts, "
    "next_try_ms, trouble) VALUES (:id, 'mail', 'urgent', 't', 'b', :changes, 1, :state, 0, 0, :trouble)"
)


def test_notices_of_old_are_found_by_their_episodes_and_say_what_they_wait_for(
    empty_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = {
        "sent": ('[["dry:1:5", "opened"], ["dry:2:5", "opened"]]', "sent", ""),
        "end": ('[["dry:1:5", "closed"]]', "held", "held until its beginning has been told"),
        "late": ('[["dry:3:5", "past"]]', "held", "held until the tray's readings have caught up"),
    }
    with monkeypatch.context() as before:
        before.setattr(schema, "REVISIONS", ("0001", "0003", "0004", "0005"))
        before.setattr(upgrade, "upgrade", lambda tx: command.upgrade(upgrade.config(tx), "0005"))
        with Store.open(empty_url) as store, store.write() as tx:
            for notice_id, (changes, state, trouble) in old.items():
                tx.execute(
                    text(OLD_NOTICE),
                    {"id": notice_id, "changes": changes, "state": state, "trouble": trouble},
                )
    with Store.open(empty_url, backup=False) as store, store.read() as tx:
        assert [n.notice_id for n in notices.about(tx, "dry:1:5")] == ["end", "sent"]
        assert [n.notice_id for n in notices.about(tx, "dry:2:5")] == ["sent"]
        found = {n.notice_id: n.waits_for for n in notices.listed(tx, 9)}
    assert found == {"sent": Hold.NOTHING, "end": Hold.BEGINNING, "late": Hold.READINGS}
