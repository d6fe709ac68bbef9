"""A head is calibrated step by step, with its volts as they come."""

import re
from typing import Any

import pytest

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.readings import Reading
from traywarden.services.calibrating import container_capacity_m3_m3, recent_volts
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.web.calibrate import BACK_MS

HEAD = "bench/1"


@pytest.fixture
def page(visitor: Visitor) -> str:
    with visitor.store.read() as tx:
        return f"/probes/heads/{probe_store.head_labelled(tx, HEAD).head_id}"


def measure(visitor: Visitor, *volts: float, boot: int = 9) -> None:
    """Readings one after the other up to now, the last at now."""
    with visitor.store.write() as tx:
        rows = [
            Reading("bench", 1, boot, i, at_ms, at_ms, moisture_v=v)
            for i, v in enumerate(volts)
            for at_ms in [NOW_MS - (len(volts) - 1 - i) * 1000]
        ]
        reading_store.insert(tx, rows)


def link(text: str, words: str) -> str:
    found = re.search(rf'href="([^"]+)">{re.escape(words)}', text)
    assert found is not None, words
    return found[1].replace("&amp;", "&")


def calibrations(visitor: Visitor) -> list[Entry]:
    return [e for e in visitor.entries() if e.kind is Kind.CALIBRATED]


def test_dry_then_wet_then_written_with_volts_as_they_come(visitor: Visitor, page: str) -> None:
    before = len(calibrations(visitor))
    began = link(visitor.get(page), "It is in the dry mix")
    assert f"since={NOW_MS}" in began
    began = began.replace(str(NOW_MS), str(NOW_MS - 60_000))
    words = visitor.words(began)
    assert "1 of at least 3 readings so far" in words, "the one of just now alone"
    assert "Take " not in words.replace("Take these", "")
    measure(visitor, 2.40, 2.402, 2.401, 2.401)
    text = visitor.get(began)
    assert "it stands still" in text
    wet = link(text, "Take 2.401 V")
    text = visitor.get(wet)
    assert "Soak the mix, let it drain" in text
    drained = link(text, "It has drained")
    assert "dry_volts=2.401" in drained
    measure(visitor, 1.25, 1.25, 1.25, boot=10)
    last = f"{page}?dry_volts=2.401&wet_volts=1.25"
    text = visitor.get(last)
    with visitor.store.read() as tx:
        capacity = container_capacity_m3_m3(tx, probe_store.head_labelled(tx, HEAD), NOW_MS)
    assert (
        f'name="wet" inputmode="decimal" size="5" maxlength="8" required value="{capacity * 100:g}"' in text
    )
    words = visitor.send(
        "/calibrate/two-point",
        back="/probes",
        head=HEAD,
        dry_volts="2.401",
        wet_volts="1,25",
        dry="2",
        wet="55",
        mix="",
    )
    assert "Written down" in words
    entry = calibrations(visitor)[before]
    assert entry.head_id is not None
    assert entry.data["points"] == [[1.25, 0.55], [2.401, 0.02]]


def test_before_a_step_begins_it_reads_what_came_last_not_what_was_half_an_hour_ago(
    visitor: Visitor, page: str
) -> None:
    with visitor.store.write() as tx:  # the garden measured at this very moment, too
        tx.exec_driver_sql("DELETE FROM reading WHERE time_ms = ?", (NOW_MS,))
    measure(visitor, *[1.75] * 12, 2.41)
    words = visitor.words(page)
    assert "What it reads now: 2.410 V" in words
    assert "stands still" not in words


def test_volts_that_move_are_not_offered(visitor: Visitor, page: str) -> None:
    measure(visitor, 2.0, 2.1, 2.2, 2.3)
    text = visitor.get(f"{page}?since={NOW_MS - 60_000}")
    assert "still rising" in text
    assert ">Take 2" not in text


def test_a_pot_is_weighed_only_while_its_volts_stand_still(visitor: Visitor, page: str) -> None:
    words = visitor.send("/calibrate/weigh", back=page, head=HEAD, grams="500")
    assert "Written down" in words
    entry = visitor.entries()[-1]
    with visitor.store.read() as tx:
        seen = recent_volts(tx, probe_store.head_labelled(tx, HEAD), NOW_MS - BACK_MS, NOW_MS + 1)
    assert entry.data["volts"] == round(seen.median_v, 4)
    measure(visitor, *(2.0 + 0.1 * i for i in range(9)))
    words = visitor.send("/calibrate/weigh", back=page, head=HEAD, grams="500")
    assert "does not stand still" in words


def test_it_holds_for_a_whole_mix_and_may_take_the_last_ones_place(visitor: Visitor) -> None:
    known = {"dry_volts": "2.4", "wet_volts": "1.2"}
    words = visitor.send("/calibrate/two-point", back="/settings/mixes", mix="Peat mix", redo="yes", **known)
    assert "Written down" in words
    (entry,) = [e for e in calibrations(visitor) if e.mix_id]
    assert entry.data["points"] == [[1.2, 0.55], [2.4, 0.02]], "in the place of the one it had"
    assert "no calibration of “Bark mix” to redo" in visitor.send(
        "/calibrate/two-point", mix="Bark mix", redo="yes", **known
    )


def test_weighings_make_a_curve_that_is_looked_at_before_it_is_written(visitor: Visitor, page: str) -> None:
    for day, grams, volts in ((5, 950, 1.2), (4, 820, 1.5), (3, 700, 1.8), (2, 560, 2.1), (1, 430, 2.4)):
        words = visitor.send(
            "/calibrate/weigh", back=page, head=HEAD, grams=str(grams), volts=str(volts), at=f"{day} days ago"
        )
        assert "Written down" in words
    assert "5 weighings in the last 30 days" in visitor.words(page)
    before = len(calibrations(visitor))
    look = f"{page}?pot_litres=1&dry_grams=400"
    words = visitor.words(look)
    assert "55.0 %" in words, "(950 - 400) g of water in a litre"
    assert "3.0 %" in words
    assert len(calibrations(visitor)) == before
    assert "less than 500 g dry" in visitor.words(f"{page}?pot_litres=1&dry_grams=500")
    fields = {"head": HEAD, "pot_litres": "1", "dry_grams": "400", "mix": "Bark mix"}
    assert "Written down" in visitor.send("/calibrate/curve", back=page, **fields)
    entry = calibrations(visitor)[-1]
    assert entry.mix_id is not None
    assert entry.data["points"][0] == [1.2, pytest.approx(0.55)]


@pytest.mark.parametrize(
    ("what", "fields", "says"),
    [
        ("two-point", {"head": HEAD, "dry_volts": "2.4"}, "Two points are needed"),
        ("two-point", {"dry_volts": "2.4", "wet_volts": "1"}, "a head, or a mix"),
        ("two-point", {"head": HEAD, "dry_volts": "2.4", "wet_volts": "1", "dry": "60"}, "swap them"),
        ("two-point", {"head": HEAD, "dry_volts": "nan", "wet_volts": "1"}, "cannot be"),
        ("weigh", {"head": HEAD}, "how many grams"),
        ("curve", {"head": HEAD, "pot_litres": "1", "dry_grams": "1"}, "weighed 0 times"),
        ("curve", {"head": HEAD, "pot_litres": "0", "dry_grams": "1"}, "A curve needs"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    visitor: Visitor, what: str, fields: dict[str, Any], says: str
) -> None:
    before = len(visitor.entries())
    words = visitor.send(f"/calibrate/{what}", back="/probes", **fields)
    assert "Not written" in words
    assert says in words
    assert len(visitor.entries()) == before
