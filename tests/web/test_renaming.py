"""Places, trays, mixes and lots are renamed on their pages of settings, and it is taken back there."""

import re

import pytest

from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.services.knowledge import Knowledge
from traywarden.store import garden
from traywarden.store import probes as probe_store

HOSTILE = "<b>n</b> \"'/🍅\u202e"
NAMES = {"place": "Cold frame", "tray": "lettuce", "mix": "Peat mix", "lot": "Roma"}


@pytest.mark.parametrize("noun", NAMES)
def test_it_is_called_otherwise_everywhere_until_it_is_taken_back(visitor: Visitor, noun: str) -> None:
    with visitor.store.write() as tx:
        garden.add_lot(tx, "Roma", "tomato")
    page = f"/settings/{noun}s" if noun != "mix" else "/settings/mixes"
    name = NAMES[noun]
    assert f'name="name" value="{name}"' in visitor.get(page)
    words = visitor.send("/make/rename", back=page, noun=noun, name=name, new=HOSTILE)
    assert f"{noun} “{name}” is called “{HOSTILE}”" in words
    assert HOSTILE in visitor.words(page)
    assert "<b>n</b>" not in visitor.get(page)
    assert visitor.entries()[-1].kind is Kind.RENAMED
    assert "Correct entry" not in re.split(r"is called", visitor.words("/journal"))[1][:80]
    visitor.send("/undo", back=page, entry=str(visitor.entries()[-1].entry_id))
    assert name in visitor.words(page)
    assert HOSTILE not in visitor.words(page)


def test_what_cannot_be_done_is_said_on_the_page(visitor: Visitor) -> None:
    for fields, says in (
        ({"noun": "tray", "name": "lettuce", "new": "peppers"}, "already a tray called “peppers”"),
        ({"noun": "tray", "name": "gone", "new": "x"}, "There is no tray called “gone”"),
        ({"noun": "probe", "name": "p", "new": "x"}, "has no name to change"),
    ):
        assert says in visitor.send("/make/rename", back="/settings/trays", **fields)


def test_a_lots_test_and_its_age_are_written_down(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        garden.add_lot(tx, "Roma", "tomato")
    words = visitor.send(
        "/make/lot-tested", back="/settings/lots", lot="Roma", seeds="50", sprouted="44", days="8"
    )
    assert "44 of 50 sprouted in 8 days" in words
    assert "cannot have sprouted" in visitor.send(
        "/make/lot-tested", back="/settings/lots", lot="Roma", seeds="5", sprouted="44"
    )
    words = visitor.send("/make/lot-packed", back="/settings/lots", lot="Roma", at="2025-11-01")
    assert "packed or harvested" in words
    assert [entry.kind for entry in visitor.entries()[:1]] == [Kind.PACKED]


def test_a_probe_is_called_by_a_name_of_ones_own_and_reports_under_its_own(visitor: Visitor) -> None:
    with visitor.store.read() as tx:
        own = probe_store.probes(tx)[0].name
    words = visitor.send("/make/probe-called", back="/probes/1", name=own, new="Bench <probe>")
    assert f"Probe {own} is called “Bench <probe>” on pages and in notices." in words
    assert "Bench <probe>" in visitor.words("/probes")
    with visitor.store.read() as tx:
        probe = probe_store.probe_named(tx, own)
        knowledge = Knowledge(tx, {})
    assert knowledge.name_of(Subject(SubjectKind.PROBE, probe.probe_id)) == "Bench <probe>"
    assert "There is already a probe called" in visitor.send(
        "/make/probe-called", back="/probes", name=other_than(visitor, own), new="bench <PROBE>"
    )
    assert f"is called “{own}”" in visitor.send("/make/probe-called", back="/probes/1", name=own, new="")


def other_than(visitor: Visitor, name: str) -> str:
    with visitor.store.read() as tx:
        return next(each.name for each in probe_store.probes(tx) if each.name != name)
