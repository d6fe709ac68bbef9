"""The pages about batches say what `batches` and `batch` say, with a picture and its numbers."""

import csv
import io

import pytest

from tests.services.little_garden import DAY_MS, START_MS
from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.services.questions.batch import ask_batch
from traywarden.services.questions.batches import ask_batches
from traywarden.store import garden, journal

COUNTS = {
    "tomatoes": ((4, 0), (5, 8), (6, 22), (7, 33), (9, 38), (12, 38)),
    "lettuce": ((5, 0), (7, 4), (9, 15)),
}
NAMED = {name: f"{name}@2026-03-02" for name in COUNTS}


@pytest.fixture
def counted(visitor: Visitor) -> Visitor:
    with visitor.store.write() as tx:
        for name, counts in COUNTS.items():
            tray_id = garden.tray_named(tx, name).tray_id
            data = {"crop": "tomato", "cells": 40, "seeds_per_cell": 1}
            journal.write(tx, Kind.SOWED, START_MS + 1, START_MS, tray_id=tray_id, data=data)
            for day, up in counts:
                at_ms = START_MS + day * DAY_MS
                journal.write(tx, Kind.EMERGED, at_ms, at_ms, tray_id=tray_id, data={"count": up})
    visitor.face.answers.written()
    return visitor


def test_every_batch_stands_with_its_share_and_leads_to_itself(counted: Visitor) -> None:
    with counted.face.asking() as on:
        answer = ask_batches(on)
    words, text = counted.words("/sowings/batches"), counted.get("/sowings/batches")
    assert len(answer.batches) == 2
    for row in answer.batches:
        assert row.share is not None
        assert f"{row.up} of {row.seeds_sown} up" in words
        assert f"({row.share.low * 100:.0f} to {row.share.high * 100:.0f} %)" in words
        assert ("not yet counted to the end" in words) == any(r.still_rising for r in answer.batches)
    assert "/sowings/batch?tray=tomatoes%402026-03-02" in text


def test_groups_are_held_against_each_other_in_the_same_words(counted: Visitor) -> None:
    words = counted.words("/sowings/batches?by=place")
    with counted.face.asking() as on:
        answer = ask_batches(on, by="place")
    for remark in answer.remarks:
        assert remark[1:] in words
    assert "There are not two groups by place yet" in words  # the lettuce tray is not counted to its end
    assert "are grouped by" in counted.words("/sowings/batches?by=luck")
    assert "No batch of Pepper was counted" in counted.words("/sowings/batches?crop=pepper")


def test_one_batch_is_shown_with_sentence_figures_counts_and_picture(counted: Visitor) -> None:
    with counted.face.asking() as on:
        card = ask_batch(on, "tomatoes").first
    page = f"/sowings/batch?tray={NAMED['tomatoes']}"
    words = counted.words(page)
    assert card.sentence in words
    assert f"{card.half_d:.1f} days" in words
    for row in card.counts:
        assert f"{row.newly_up} {row.up} {row.up_pct:.0f} %" in words
    assert "/charts/batch.svg?tray=tomatoes%402026-03-02" in counted.get(page)
    spec = counted.client.get(f"/charts/batch.json?tray={NAMED['tomatoes']}").json()
    drawn = [point for point in spec["datasets"]["counts"] if point["counted"]]
    assert [(point["day"], point["up"]) for point in drawn] == [(row.day, row.up_pct) for row in card.counts]


def test_two_batches_are_compared_and_drawn_on_one_scale(counted: Visitor) -> None:
    query = f"tray={NAMED['tomatoes']}&other={NAMED['lettuce']}"
    with counted.face.asking() as on:
        answer = ask_batch(on, "tomatoes", "lettuce")
    words = counted.words(f"/sowings/batch?{query}")
    for sentence in answer.sentences:
        assert sentence in words
    for what in answer.differed:
        assert what in words
    table = list(csv.reader(io.StringIO(counted.get(f"/charts/batch.csv?{query}"))))
    assert table[0][0] == "batch"
    assert [(row[0], int(row[4])) for row in table[1:]] == [
        (name, up) for name, counts in COUNTS.items() for _, up in counts
    ]
    assert counted.get(f"/charts/batch.svg?{query}").startswith("<svg")


def test_a_batch_there_is_not_is_refused_in_one_sentence(counted: Visitor) -> None:
    assert "There is no tray called" in counted.words("/sowings/batch?tray=nowhere", status=400)
    assert "was not counted" in counted.words("/sowings/batch?tray=peppers", status=409)
    assert "Say which batch" in counted.words("/charts/batch.svg", status=400)


def test_a_garden_without_counts_says_where_to_count(visitor: Visitor) -> None:
    words = visitor.words("/sowings/batches")
    assert "No batch was counted" in words
    assert "Counts are written on Coming up" in words


def test_hostile_names_are_shown_as_text(counted: Visitor) -> None:
    name = "<b>x</b>\"'/🍅@1"
    with counted.store.write() as tx:
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'tomatoes'", (name,))
    counted.face.answers.written()
    text = counted.get("/sowings/batches")
    assert "<b>x" not in text
    answer = counted.client.get("/sowings/batch", params={"tray": f"{name}@2026-03-02"})
    assert answer.status_code == 200
    assert "<b>x" not in answer.text
    table = counted.client.get("/charts/batch.html", params={"tray": f"{name}@2026-03-02"})
    assert table.status_code == 200
    assert "<b>x" not in table.text
