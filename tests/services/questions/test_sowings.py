"""What is taken as seen of a sowing, beyond the emergence that was written down."""

from pathlib import Path

import pytest

from tests.services.little_garden import DAY_MS, START_MS, little_garden
from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.services.journal import Draft, put
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_answer import LATE, UP
from traywarden.services.questions.emergence_now import emergence_now
from traywarden.services.questions.learned import ask_learned

NOW_MS = START_MS + 14 * DAY_MS
LATER_MS = START_MS + 13 * DAY_MS


@pytest.mark.parametrize(("potted", "state"), [(True, UP), (False, LATE)])
def test_seedlings_potted_up_had_come_up_though_nobody_wrote_it_down(
    tmp_path: Path, potted: bool, state: str
) -> None:
    """The lettuce of the bench is days overdue; once its seedlings stand in pots it is not late any more."""
    made = little_garden(tmp_path)
    with made.store.write() as tx:
        if potted:
            put(tx, Draft(Kind.POTTED_UP, LATER_MS, tray_id=made.tray_ids["lettuce"]), LATER_MS)
    with grounded(made.store, NOW_MS) as ground:
        (found,) = ask_emergence(ground, "lettuce").trays
        now = {each.tray: each.state for each in emergence_now(ground)}
        (learned,) = ask_learned(ground, "lettuce").crops
    made.store.close()
    assert found.state == state
    assert now.get("lettuce") == (None if potted else LATE)
    assert learned.sowings[0].looks == 0
    assert abs(learned.after.expected - learned.before.expected) < 0.05
