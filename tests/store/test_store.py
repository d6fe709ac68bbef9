"""Transactions of the store, on both databases."""

import threading
from pathlib import Path

import pytest
from sqlalchemy import text

from traywarden.errors import StoreError, StoreFullError
from traywarden.store import garden, schema
from traywarden.store.store import Store


def tray_names(store: Store) -> list[str]:
    with store.read() as tx:
        return [tray.name for tray in garden.trays(tx)]


def test_what_is_written_is_there_after_opening_again(empty_url: str) -> None:
    with Store.open(empty_url) as store, store.write() as tx:
        garden.add_tray(tx, "A")
    with Store.open(empty_url) as store:
        assert tray_names(store) == ["A"]
        assert store.url == empty_url.replace("postgresql:", "postgresql+psycopg:")
        assert store.revision() == schema.REVISIONS[-1]


def test_a_transaction_that_fails_leaves_nothing(store: Store) -> None:
    def fail() -> None:
        with store.write() as tx:
            garden.add_tray(tx, "A")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert tray_names(store) == []
    with store.write() as tx:
        garden.add_tray(tx, "B")
    assert tray_names(store) == ["B"]


def test_a_reader_sees_one_instant_while_the_writer_goes_on(store: Store) -> None:
    with store.read() as before:
        assert garden.trays(before) == []
        with store.write() as tx:
            garden.add_tray(tx, "A")
        assert garden.trays(before) == []
    assert tray_names(store) == ["A"]


def test_a_reader_is_not_held_up_by_an_open_transaction_and_sees_nothing_of_it(store: Store) -> None:
    with store.write() as tx:
        garden.add_tray(tx, "A")
        assert tray_names(store) == []


def test_a_reader_cannot_write(store: Store) -> None:
    with pytest.raises(StoreFullError, match="read-only"), store.read() as tx:
        garden.add_tray(tx, "A")
    assert tray_names(store) == []


def test_writing_inside_writing_is_refused_at_once_rather_than_waited_for(store: Store) -> None:
    with store.write(), pytest.raises(RuntimeError, match="write"), store.write():
        pass


def test_threads_write_one_after_the_other_and_none_is_lost(store: Store) -> None:
    def add(worker: int) -> None:
        for n in range(10):
            with store.write() as tx:
                garden.add_tray(tx, f"{worker}-{n}")

    threads = [threading.Thread(target=add, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(tray_names(store)) == 60


def test_two_stores_on_one_database_take_turns(store: Store) -> None:
    """As two hosts on one PostgreSQL, or the command line beside the host on one SQLite file."""

    def read_and_add(writer: Store) -> None:
        for _ in range(10):
            with writer.write() as tx:  # would lose steps if two could read the same value before writing
                known = tx.execute(text("SELECT count(*) FROM tray")).scalar_one()
                garden.add_tray(tx, str(known))

    with Store.open(store.url) as other:
        threads = [threading.Thread(target=read_and_add, args=(each,)) for each in (store, other)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert sorted(map(int, tray_names(store))) == list(range(20))


def test_sqlite_runs_as_promised(tmp_path: Path) -> None:
    """Write-ahead log, every commit on disk before it is acknowledged, foreign keys watched."""
    with Store.open(f"sqlite:///{tmp_path / 'traywarden.sqlite3'}") as store:
        with store.write() as tx:
            found = [
                tx.execute(text(f"PRAGMA {name}")).scalar()
                for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
            ]
        assert found == ["wal", 2, 1, 10_000]
        with store.read() as tx:
            assert tx.execute(text("PRAGMA query_only")).scalar() == 1


def test_a_row_that_points_nowhere_is_refused_on_both(store: Store) -> None:
    with pytest.raises(StoreError), store.write() as tx:
        tx.execute(schema.head.insert().values(probe_id=77, number=1))


def test_foreign_tables_are_left_alone(empty_url: str, tmp_path: Path) -> None:
    with Store.open(empty_url) as store, store.write() as tx:
        tx.execute(text(f"DROP TABLE {schema.VERSION_TABLE}"))
    with pytest.raises(StoreError, match="belongs to another program"):
        Store.open(empty_url)


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("sqlite://", "in memory would be lost"),
        ("mysql://root@localhost/x", "“mysql” is not supported"),
        ("what is this", "cannot be read"),
    ],
)
def test_an_address_that_cannot_be_a_store_is_refused_with_what_to_write_instead(url: str, says: str) -> None:
    with pytest.raises(StoreError, match=says) as caught:
        Store.open(url)
    assert "sqlite:////path" in str(caught.value)
