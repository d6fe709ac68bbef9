"""What the garden knows of a lot, and who else asks for it."""

from pathlib import Path

import pytest

from tests.services.little_garden import DAY_MS, NOW_MS, START_MS, little_garden
from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.services.journal import Draft, correct, put
from traywarden.services.lots import age_years, label_tolerance_share, lot_knowledge
from traywarden.services.questions.emergence import ask_emergence
from traywarden.store import garden as garden_store
from traywarden.store import journal

YEAR_MS = round(365.25 * DAY_MS)


def test_the_age_of_seed_counts_from_when_it_was_packed_and_late_seed_is_told_of_it(tmp_path: Path) -> None:
    """Lettuce keeps about 6 years (Iowa State University Extension 1999)."""
    made = little_garden(tmp_path)
    with made.store.write() as tx:
        lot = garden_store.add_lot(tx, "Old", "lettuce", germination=0.9)
        sowing = next(
            e for e in journal.entries(tx) if e.kind is Kind.SOWED and e.tray_id == made.tray_ids["lettuce"]
        )
        correct(tx, sowing.entry_id, NOW_MS, {}, lot_id=lot.lot_id)
    with grounded(made.store) as on:
        assert age_years(on, on.lots[lot.lot_id], NOW_MS) is None
        before = ask_emergence(on, "lettuce").trays[0].causes[-1]
    with made.store.write() as tx:
        put(tx, Draft(Kind.PACKED, START_MS - 8 * YEAR_MS, lot_id=lot.lot_id), NOW_MS)
    with grounded(made.store) as on:
        assert age_years(on, on.lots[lot.lot_id], START_MS) == pytest.approx(8.0)
        assert age_years(on, on.lots[lot.lot_id], START_MS - 9 * YEAR_MS) is None
        after = next(c for c in ask_emergence(on, "lettuce").trays[0].causes if c.cause == "old or weak seed")
    made.store.close()
    assert before.cause == "old or weak seed"
    assert "its age is not recorded" in before.says
    assert "it is 8 years old and such seed keeps about 6" in after.says
    assert after.verdict == "likely"


def test_a_test_written_for_a_later_day_is_not_known_before_it(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        lot = garden_store.add_lot(tx, "Roma", "tomato", germination=0.9)
        draft = Draft(Kind.TESTED, START_MS, lot_id=lot.lot_id, data={"seeds": 100, "sprouted": 30})
        put(tx, draft, NOW_MS)
    with grounded(made.store) as on:
        before, after = (lot_knowledge(on, lot, "tomato", START_MS + day * DAY_MS) for day in (-1, 1))
    made.store.close()
    assert len(before.evidence) == 1
    assert before.germination.mean_share() == pytest.approx(0.9, abs=0.01)
    assert after.germination.mean_share() < 0.5


@pytest.mark.parametrize(("share", "tolerance"), [(0.75, 0.09), (0.40, 0.10), (1.0, 0.05)])
def test_the_tolerance_of_two_tests_is_that_of_the_average_or_its_mirror(
    share: float, tolerance: float
) -> None:
    assert label_tolerance_share(share) == tolerance
