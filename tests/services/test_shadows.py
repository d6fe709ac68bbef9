"""What hides behind something else is not told beside it."""

from tests.services.watched_garden import START_MS, WatchedGarden
from traywarden.domain.subjects import a_tray
from traywarden.services.knowledge import Knowledge
from traywarden.services.shadows import Shadows
from traywarden.store.crops import load_crops
from traywarden.store.store import Store


def test_a_tray_that_is_dry_is_not_told_to_be_dry_soon(sqlite_store: Store) -> None:
    garden = WatchedGarden(sqlite_store, trays=2)
    one, other = (a_tray(tray_id) for tray_id in garden.tray_ids.values())
    with sqlite_store.read() as tx:
        shadows = Shadows({("dry", one): None}, Knowledge(tx, load_crops()), START_MS)
        assert shadows.over("drying", one) == "waits while it is dry already"
        assert [shadows.over("drying", other), shadows.over("dry", one)] == ["", ""]
