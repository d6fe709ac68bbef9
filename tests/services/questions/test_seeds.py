"""How many seeds to sow, from the garden's journal."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.services.little_garden import DAY_MS, NOW_MS, START_MS, LittleGarden, little_garden
from tests.services.questions.conftest import grounded
from tests.services.questions.test_batch import sow
from traywarden.domain.journal import Kind
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.questions.seeds import SeedsAnswer, SeedsAsked, ask_seeds
from traywarden.store import garden as garden_store
from traywarden.store import journal
from traywarden.store.store import Tx

YEAR_MS = round(365.25 * DAY_MS)


def lots(tx: Tx) -> dict[str, int]:
    return {
        name: garden_store.add_lot(tx, name, "tomato", germination, tested, seeds, price).lot_id
        for name, germination, tested, seeds, price in (
            ("packet", 0.85, False, 200, 6.0),
            ("plain", None, False, None, None),
            ("tested", 0.85, True, None, None),
            ("old", 0.85, False, None, None),
            ("poor", 0.85, False, None, None),
        )
    }


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LittleGarden]:
    """Lots of tomato; trays of lettuce that did well in the frame and badly on the bench."""
    made = little_garden(tmp_path_factory.mktemp("seeds"), with_readings=False)
    with made.store.write() as tx:
        ids = lots(tx)
        five_years_ms = NOW_MS - 5 * YEAR_MS
        journal.write(tx, Kind.PACKED, five_years_ms, START_MS, lot_id=ids["old"])
        journal.write(
            tx, Kind.TESTED, NOW_MS - DAY_MS, NOW_MS, lot_id=ids["poor"], data={"seeds": 50, "sprouted": 20}
        )
        for place, ups in (("Cold frame", (33, 32, 34)), ("Open bench", (14, 20, 17))):
            for k, up in enumerate(ups):
                tray = garden_store.add_tray(tx, f"{place} {k}", 40, None)
                where = made.place_ids[place]
                journal.write(tx, Kind.MOVED, START_MS, START_MS, tray_id=tray.tray_id, place_id=where)
                sow(tx, tray.tray_id, "lettuce", ((5, 0), (7, up), (10, up)))
        rising = garden_store.add_tray(tx, "rising", 40, None)
        sow(tx, rising.tray_id, "lettuce", ((6, 5), (9, 20)))
    yield made
    made.store.close()


def ask(garden: LittleGarden, what: str, **asked: Any) -> SeedsAnswer:
    with grounded(garden.store) as on:
        return ask_seeds(on, SeedsAsked(what, **{"cells": 72, **asked}))


def test_the_answer_names_seeds_cells_and_the_chance_of_the_plants(garden: LittleGarden) -> None:
    answer = ask(garden, "packet", plants=60, place="Cold frame")
    row = answer.plan.best
    assert answer.sentence.startswith(
        f"Sow {answer.chosen} seeds of “packet” in each of 72 cells, to stand in “Cold frame” "
        f"({row.seeds} seeds): about {row.filled_middle} cells fill, "
        f"{row.filled_low} to {row.filled_high} in four trays of five."
    )
    assert "60 plants or more come of it" in answer.sentence
    assert row.wanted_chance is not None
    assert row.wanted_chance >= 0.9
    assert answer.plan.rows[answer.chosen - 2].wanted_chance < 0.9  # type: ignore[operator]


def test_no_grower_is_told_to_sow_seven_in_a_cell(garden: LittleGarden) -> None:
    """Where the doubt is in the lot, more cells or a test help, not more seeds: two or three in each."""
    for what, plants, cells in (("plain", 70, 72), ("tested", 40, None), ("tomato", 70, 72)):
        answer = ask(garden, what, plants=plants, cells=cells, place="Cold frame")
        assert answer.chosen <= 3
        assert any("cells (" in advice for advice in answer.advice)
    short = ask(garden, "plain", plants=70)
    assert any(
        advice.startswith("For 70 plants 90 times in 100 take more cells rather than more seeds")
        for advice in short.advice
    )


def test_without_cells_the_plants_say_how_many(garden: LittleGarden) -> None:
    answer = ask(garden, "packet", plants=60, cells=None, place="Cold frame")
    assert answer.cells == answer.plan.best.cells_needed
    assert f"in each of {answer.cells} cells" in answer.sentence
    assert any(advice.startswith("Or ") and "1 in each of" in advice for advice in answer.advice)


def test_what_would_tell_more_is_said_with_how_much(garden: LittleGarden) -> None:
    answer = ask(garden, "plain", place="Cold frame")
    row = answer.plan.best
    test = next(each for each in answer.narrower if each.by == "test")
    assert row.filled_low < test.filled_low <= test.filled_high <= row.filled_high
    said = next(advice for advice in answer.advice if "as much as is known" in advice)
    assert (
        f"a germination test of 50 seeds (traywarden lot test) would narrow that to {test.filled_low}–"
        in said
    )


def test_a_test_that_comes_out_as_expected_narrows_it_as_far_as_was_said(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        lot_id = lots(tx)["plain"]
    before = ask(made, "plain")
    sprouted = round(50 * before.germination.mean_share)
    with made.store.write() as tx:
        journal.write(
            tx, Kind.TESTED, NOW_MS, NOW_MS, lot_id=lot_id, data={"seeds": 50, "sprouted": sprouted}
        )
    after = ask(made, "plain")
    made.store.close()
    promised = next(each for each in before.narrower if each.by == "test")
    row = after.plan.rows[before.chosen - 1]
    assert (row.filled_low, row.filled_high) == (promised.filled_low, promised.filled_high)


def test_the_frame_takes_fewer_seeds_than_the_bench_by_the_gardens_own_trays(garden: LittleGarden) -> None:
    frame, bench = (ask(garden, "packet", place=place) for place in ("Cold frame", "Open bench"))
    assert frame.place_share.mean_share > bench.place_share.mean_share + 0.15
    assert frame.plan.rows[1].fill_share > bench.plan.rows[1].fill_share
    rows = {row.kind: row for row in frame.places}
    assert (rows["cold frame"].trays, rows["open bench"].trays) == (3, 3)
    assert rows["open bench"].high < rows["cold frame"].high
    assert any("rising" in remark for remark in frame.remarks)


def test_a_kind_of_place_may_be_named_that_the_garden_has_not(garden: LittleGarden) -> None:
    answer = ask(garden, "packet", place="greenhouse")
    frame, bench = (ask(garden, "packet", place=place) for place in ("cold frame", "open bench"))
    assert answer.place == "greenhouse"
    assert bench.place_share.mean_share < answer.place_share.mean_share < frame.place_share.mean_share


def test_a_tray_gives_its_cells_and_its_place(garden: LittleGarden) -> None:
    answer = ask(garden, "packet", cells=None, tray="lettuce")
    assert (answer.cells, answer.place) == (40, "“Open bench”")


def test_what_is_known_of_a_lot_is_told_with_what_it_is_worth(garden: LittleGarden) -> None:
    packet, plain, tested, old, poor = (
        ask(garden, what) for what in ("packet", "plain", "tested", "old", "poor")
    )
    assert "85 % by the packet, worth 200 seeds" in packet.evidence[0].says
    assert "must germinate 75 % or more" in plain.evidence[0].says
    assert plain.evidence[0].source.endswith("7 CFR 201.31")
    assert "in a test of your own; of how many seeds is not written down" in tested.evidence[0].says
    assert "5.0 years old" in old.evidence[-1].says
    assert "20 of 50 sprouted in your test" in poor.evidence[-1].says
    means = [x.germination.mean_share for x in (packet, old, poor)]
    assert means[0] == pytest.approx(0.85, abs=0.01)
    assert means[2] < means[1] < means[0]
    assert plain.germination.high_share - plain.germination.low_share > 0.2
    assert any("its age is not known" in remark for remark in packet.remarks)
    assert not any("its age is not known" in remark for remark in old.remarks)


def test_a_crop_may_be_asked_for_without_a_lot(garden: LittleGarden) -> None:
    answer = ask(garden, "Tomatoes")
    assert (answer.crop, answer.lot) == ("Tomato", None)
    unknown = ask(garden, "petunia")
    assert "the law names none for this kind" in unknown.evidence[0].says
    fewer = "One seed more in each fills fewer than 2 of 100 cells more"
    assert not any(fewer in advice for advice in unknown.advice)
    full = ask(garden, "petunia", fill=0.999)
    assert any(fewer in advice for advice in full.advice)


def test_seed_too_poor_for_cells_is_pricked_out_of_an_open_tray(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        lot_id = lots(tx)["plain"]
        journal.write(tx, Kind.TESTED, NOW_MS, NOW_MS, lot_id=lot_id, data={"seeds": 200, "sprouted": 60})
    answer = ask(made, "plain", plants=60)
    made.store.close()
    assert answer.chosen == 4
    told = next(advice for advice in answer.advice if "in an open tray and pricked out" in advice)
    assert f"about {answer.plan.rows[0].seeds_needed} seeds for 60 plants" in told


def test_price_and_seeds_left_come_from_the_lot(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        ids = lots(tx)
        journal.write(
            tx,
            Kind.SOWED,
            START_MS + 1,
            START_MS,
            tray_id=made.tray_ids["peppers"],
            lot_id=ids["packet"],
            data={"crop": "tomato", "cells": 40, "seeds_per_cell": 2},
        )
        journal.write(
            tx, Kind.TESTED, START_MS + 2, START_MS, lot_id=ids["packet"], data={"seeds": 20, "sprouted": 18}
        )
    answer = ask(made, "packet")
    given = ask(made, "packet", seed_price=0.5)
    free, unknown = ask(made, "packet", seed_price=0.0), ask(made, "plain")
    thinned = ask(made, "packet", seed_price=0.0, hour_price=15.0)
    made.store.close()
    assert answer.seed_price == pytest.approx(6.0 / 200)
    assert answer.seeds_left == 200 - 80 - 20
    assert answer.sentence.startswith("Of the 100 seeds left of “packet” sow 1 in each of 72 cells: about")
    best = answer.plan.best
    assert f"More would fill more: {best.per_cell} in each cell take {best.seeds} seeds." in answer.advice
    paying = [advice for advice in answer.advice if "pays if an empty cell costs you more than" in advice]
    assert len(paying) == 1
    assert any("The seed costs nothing and your time has no price" in advice for advice in free.advice)
    assert any("What a seed costs is not known" in advice for advice in unknown.advice)
    for one in (free, unknown):
        assert not any("pays" in advice for advice in one.advice)
    assert any("pays if an empty cell costs you more than" in advice for advice in thinned.advice)
    assert any("no tray of this garden has been counted" in remark for remark in answer.remarks)
    assert given.seed_price == 0.5
    assert answer.plan.rows[1].pays_from_price is not None


def test_a_lots_own_tray_moves_what_is_thought_of_it(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        ids = lots(tx)
    before = ask(made, "packet", place="Cold frame")
    with made.store.write() as tx:
        journal.write(
            tx,
            Kind.SOWED,
            START_MS + 1,
            START_MS,
            tray_id=made.tray_ids["tomatoes"],
            lot_id=ids["packet"],
            data={"crop": "tomato", "cells": 40, "seeds_per_cell": 2},
        )
        for day, up, filled in ((6, 20, 18), (9, 30, 22), (12, 30, 22)):
            journal.write(
                tx,
                Kind.EMERGED,
                START_MS + day * DAY_MS,
                START_MS,
                tray_id=made.tray_ids["tomatoes"],
                data={"count": up, "filled_cells": filled},
            )
    after = ask(made, "packet", place="Cold frame")
    made.store.close()
    assert after.comes_up.mean_share < before.comes_up.mean_share - 0.15
    assert after.comes_up.mean_share > 30 / 80
    assert "30 of 80 came up in tray tomatoes, Cold frame" in after.evidence[-1].says
    assert after.filled_trays == 1
    assert after.clustering > before.clustering  # 30 seedlings of two seeds a cell should fill some 26 cells


def test_the_temperature_of_the_mix_is_reckoned_in_when_given(garden: LittleGarden) -> None:
    cool, hot = (ask(garden, "lettuce", soil_temp_c=temp_c) for temp_c in (20.0, 30.0))
    assert cool.warmth_share == pytest.approx(1.0)
    assert hot.warmth_share == pytest.approx(12 / 99)
    assert any("12 of 100 come up that would at the best one: a better time" in each for each in hot.advice)
    assert not any("at the best one" in each for each in cool.advice)
    assert hot.comes_up.mean_share == pytest.approx(cool.comes_up.mean_share * 12 / 99)
    with pytest.raises(UsageError, match="not published; leave --temp out"):
        ask(garden, "lettuce", soil_temp_c=60.0)


def test_a_place_whose_mix_is_too_cold_for_the_seed_is_pointed_at(tmp_path: Path) -> None:
    """The bench's mix swings about 10 °C, where of peppers one in a hundred comes up."""
    made = little_garden(tmp_path)
    pepper = ask(made, "pepper", place="Open bench")
    radish = ask(made, "radish", place="Cold frame")
    made.store.close()
    told = [advice for advice in pepper.advice if "the mix in Open bench was at" in advice]
    assert len(told) == 1
    assert "not verified" in told[0]
    assert not any("the mix in" in advice for advice in radish.advice)


def test_many_trays_of_a_lot_are_told_briefly_and_single_seeds_tell_nothing_of_cells(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        lot_id = lots(tx)["packet"]
        for k in range(5):
            tray = garden_store.add_tray(tx, f"T{k}", 40, None)
            where = made.place_ids["Open bench"]
            journal.write(tx, Kind.MOVED, START_MS, START_MS, tray_id=tray.tray_id, place_id=where)
            sown = {"crop": "tomato", "cells": 40, "seeds_per_cell": 1}
            journal.write(
                tx, Kind.SOWED, START_MS + k, START_MS, tray_id=tray.tray_id, lot_id=lot_id, data=sown
            )
            for day in (8, 11):
                at_ms = START_MS + day * DAY_MS
                up = {"count": 30 + k, "filled_cells": 30 + k}
                journal.write(tx, Kind.EMERGED, at_ms, at_ms, tray_id=tray.tray_id, data=up)
    answer = ask(made, "packet")
    made.store.close()
    told = [told.says for told in answer.evidence if "came up" in told.says]
    assert told[-1] == "61 of 80 came up in 2 trays before"
    assert [says.split(" came")[0] for says in told[:-1]] == ["32 of 40", "33 of 40", "34 of 40"]
    assert answer.filled_trays == 0


@pytest.mark.parametrize(
    ("what", "asked", "says"),
    [
        ("packet", {"cells": None}, "Say how many plants are wanted"),
        ("packet", {"cells": 0}, "0 cells cannot be sown"),
        ("packet", {"plants": 0}, "0 plants cannot be asked for"),
        ("packet", {"fill": 1.0}, "cannot be; write it like 95%"),
        ("packet", {"gain": 0.0}, "0 for --gain cannot be"),
        ("packet", {"most": 0}, "0 seeds in a cell cannot be sown"),
        ("packet", {"seed_price": -1.0}, "price of -1 for a seed"),
        ("packet", {"thin_s": -1.0}, "seconds to thin"),
    ],
)
def test_what_cannot_be_asked_is_refused(
    garden: LittleGarden, what: str, asked: dict[str, Any], says: str
) -> None:
    with pytest.raises(UsageError, match=says):
        ask(garden, what, **asked)


def test_neither_a_lot_nor_a_crop_says_what_is_near(garden: LittleGarden) -> None:
    with pytest.raises(
        UnknownNameError, match="There is no lot or crop called “packit”; did you mean “packet”"
    ):
        ask(garden, "packit")
    with pytest.raises(UnknownNameError):
        ask(garden, "packet", place="moon")


def test_a_sowing_left_out_of_learning_does_not_speak_for_its_place(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        entry_id = sow(tx, made.tray_ids["lettuce"], "lettuce", ((6, 3), (9, 3), (12, 3)))
    with_it = ask(made, "tomato", place="Open bench")
    with made.store.write() as tx:
        old = next(e for e in journal.entries(tx) if e.entry_id == entry_id)
        journal.write(
            tx,
            Kind.SOWED,
            old.at_ms,
            old.at_ms,
            tray_id=old.tray_id,
            data={**old.data, "learn": False},
            replaces=entry_id,
        )
    without = ask(made, "tomato", place="Open bench")
    made.store.close()
    assert [row.trays for row in with_it.places] == [1]
    assert without.places == ()
    assert without.place_share.mean_share > with_it.place_share.mean_share
