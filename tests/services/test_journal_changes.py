"""Corrections from words: what an entry cannot do without, and values that stay as they were."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tests.services.little_garden import NOW_MS, LittleGarden, little_garden
from traywarden.domain.journal import Entry, Kind
from traywarden.errors import UsageError
from traywarden.services.journal import Draft, put
from traywarden.services.journal_changes import corrected, fields_of
from traywarden.store import garden

ZONE = ZoneInfo("Europe/Lisbon")


@pytest.fixture
def made(tmp_path: Path) -> Iterator[LittleGarden]:
    found = little_garden(tmp_path, with_readings=False)
    yield found
    found.store.close()


def written(made: LittleGarden, kind: Kind, held: Mapping[str, float], at_ms: int = NOW_MS) -> Entry:
    with made.store.write() as tx:
        lot = garden.add_lot(tx, "Roma", "tomato", germination=0.8, tested=False, seeds=50)
        mix = garden.mix_named(tx, "Peat mix")
        draft = {
            Kind.WEIGHED: Draft(kind, at_ms, tray_id=made.tray_ids["lettuce"], data=held),
            Kind.TESTED: Draft(kind, at_ms, lot_id=lot.lot_id, data=held),
            Kind.CAPACITY_ACCEPTED: Draft(kind, at_ms, mix_id=mix.mix_id, data=held),
            Kind.EMERGED: Draft(kind, at_ms, tray_id=made.tray_ids["lettuce"], data=held),
        }[kind]
        return put(tx, draft, NOW_MS)


def change(made: LittleGarden, entry: Entry, **said: str) -> Entry:
    with made.store.write() as tx:
        return corrected(tx, entry, said, NOW_MS, ZONE)


@pytest.mark.parametrize(
    ("kind", "held", "name"),
    [
        (Kind.WEIGHED, {"grams": 5200.0}, "grams"),
        (Kind.TESTED, {"seeds": 50, "sprouted": 40}, "sprouted"),
        (Kind.TESTED, {"seeds": 50, "sprouted": 40}, "lot"),
        (Kind.CAPACITY_ACCEPTED, {"container_capacity_m3_m3": 0.5}, "container_capacity_m3_m3"),
    ],
)
def test_what_an_entry_cannot_do_without_is_not_taken_away(
    made: LittleGarden, kind: Kind, held: dict[str, float], name: str
) -> None:
    entry = written(made, kind, held)
    with made.store.read() as tx:
        assert name in {field.name for field in fields_of(tx, entry, ZONE)}
    with pytest.raises(UsageError, match="needs its"):
        change(made, entry, **{name: " "})


def test_a_correction_of_one_value_keeps_the_second_it_happened_in(made: LittleGarden) -> None:
    entry = written(made, Kind.EMERGED, {"count": 3}, NOW_MS - 12_345)
    with made.store.read() as tx:
        said = {field.name: field.value for field in fields_of(tx, entry, ZONE)}
    new = change(made, entry, **said | {"filled_cells": "2"})
    assert new.at_ms == NOW_MS - 12_345
    assert new.data == {"count": 3, "filled_cells": 2}


def test_an_entry_is_left_out_of_learning_and_taken_in_again(made: LittleGarden) -> None:
    entry = written(made, Kind.EMERGED, {"count": 3})
    out = change(made, entry, learn="left out")
    assert out.data["learn"] is False
    assert change(made, out, learn="teaches").data["learn"] is True
