"""The rules by the clock: what one of them cannot judge harms no other, and host rules read no journal."""

from collections.abc import Iterable, Mapping

import pytest

from tests.services.timelines import CALM, WELL, Line
from traywarden.domain.crops import Crop
from traywarden.domain.journal import Entry, Facts
from traywarden.domain.rules import Answer, Verdict
from traywarden.domain.subjects import a_tray
from traywarden.errors import ShortOfDataError, StoreError
from traywarden.services.asking.asker import Asker
from traywarden.services.asking.hearing import Hearing
from traywarden.services.asking.paced import Paced
from traywarden.services.asking.round import Verdicts, Vitals, of_each
from traywarden.services.asking.standing import paced_rules
from traywarden.services.knowledge import Knowledge
from traywarden.store.store import Store, Tx
from traywarden.turns import Turns


def test_what_cannot_be_judged_is_blind_and_the_others_are_judged(caplog: pytest.LogCaptureFixture) -> None:
    def judge(tray_id: int) -> Verdict:
        if tray_id == 1:
            raise ShortOfDataError("two readings are not enough")
        if tray_id == 2:
            raise ZeroDivisionError
        return Verdict(Answer.YES, "so it is")

    found = of_each([1, 2, 3], a_tray, judge)
    assert [v.answer for v in found.values()] == [Answer.BLIND, Answer.BLIND, Answer.YES]
    assert found[a_tray(1)].reason == "two readings are not enough"
    assert [record.message for record in caplog.records] == ["tray-2 cannot be judged"]


def test_trouble_with_the_store_is_no_verdict() -> None:
    def judge(tray_id: int) -> Verdict:
        raise StoreError("the disk is gone")

    with pytest.raises(StoreError):
        of_each([1], a_tray, judge)


def test_the_journal_is_read_anew_only_where_it_has_grown_and_not_for_the_host(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    known: list[int] = []
    read: list[int] = []

    def knowing(tx: Tx, crops: Mapping[str, Crop]) -> Knowledge:
        known.append(1)
        return Knowledge(tx, crops)

    def reading(entries: Iterable[Entry]) -> Facts:
        read.append(1)
        return Facts(entries)

    monkeypatch.setattr("traywarden.services.asking.asker.Knowledge", knowing)
    monkeypatch.setattr("traywarden.store.journal.Facts", reading)
    host = [each for each in paced_rules(line.garden.settings) if each.rule.name in ("broker", "slow")]
    taken: list[dict[str, Verdicts]] = []
    one = Asker(
        sqlite_store,
        line.garden.settings,
        {},
        Paced(host, 0),
        lambda: Vitals(free_mb=WELL.free_mb, broker_gone_s=900.0, broker="b:1", commit_s=0.1),
        lambda found, now_ms: taken.append(dict(found)),
        Turns(),
        Hearing(),
    )
    for minute in range(3):
        one.ask(line.at_ms + minute * 60_000)
    assert [sorted(found) for found in taken] == [["broker", "slow"]] * 3
    assert known == []
    assert len(read) == 1
