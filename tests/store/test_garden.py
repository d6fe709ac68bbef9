"""The garden's nouns: what names and numbers are taken, and what is said of the others."""

import pytest

from traywarden.domain.garden import PlaceKind
from traywarden.errors import UnknownNameError, UsageError
from traywarden.store import garden
from traywarden.store.store import Store


def test_there_is_no_garden_until_one_is_set(store: Store) -> None:
    with store.read() as tx:
        assert garden.the_garden(tx) is None


def test_a_garden_is_kept_and_changed_but_its_topics_stay(store: Store) -> None:
    """Probes send to topics with the slug; a new name must not cut them off."""
    with store.write() as tx:
        made = garden.set_garden(tx, " Annas Gärten ", "Europe/Lisbon", 38.7, -9.1, now_ms=5)
        assert (made.name, made.slug) == ("Annas Gärten", "annas-garten")
        changed = garden.set_garden(tx, "North side", "Europe/Berlin", now_ms=6)
    with store.read() as tx:
        assert garden.the_garden(tx) == changed
    assert (changed.garden_id, changed.slug) == (made.garden_id, "annas-garten")
    assert (changed.name, changed.time_zone) == ("North side", "Europe/Berlin")
    assert (changed.latitude_deg, changed.longitude_deg) == (38.7, -9.1)


@pytest.mark.parametrize(
    ("name", "slug"),
    [("Hof 7", "hof-7"), ("--Ä--", "a"), ("菜园", "garden"), ("x" * 80, "x" * 63), ("O'Neil", "oneil")],
)
def test_a_slug_fits_one_level_of_a_topic(name: str, slug: str) -> None:
    assert garden.slug_from_name(name) == slug


@pytest.mark.parametrize(
    ("zone", "says"),
    [
        ("Europe/Lisbonn", "did you mean “Europe/Lisbon”"),
        ("lisbon", "did you mean “Europe/Lisbon”"),
        ("../../etc/passwd", "There is no time zone"),
        ("", "Europe/Lisbon"),
        ("Europe", "There is no time zone"),
    ],
)
def test_an_unknown_time_zone_is_refused_with_the_nearest(store: Store, zone: str, says: str) -> None:
    with pytest.raises(UsageError, match=says), store.write() as tx:
        garden.set_garden(tx, "G", zone, now_ms=0)


def test_a_position_off_the_globe_is_refused(store: Store) -> None:
    with pytest.raises(UsageError, match="latitude of 91"), store.write() as tx:
        garden.set_garden(tx, "G", "UTC", 91.0, 0.0, now_ms=0)
    with pytest.raises(UsageError, match="longitude of nan"), store.write() as tx:
        garden.set_garden(tx, "G", "UTC", 0.0, float("nan"), now_ms=0)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("   ", "needs a name"),
        ("x" * 81, "81 characters"),
        ("a\nb", "control character"),
        ("a\x00b", "control character"),
        ("\ud800", "control character"),
    ],
)
def test_what_cannot_be_a_name_is_refused(store: Store, name: str, says: str) -> None:
    with pytest.raises(UsageError, match=says), store.write() as tx:
        garden.add_tray(tx, name)


def test_names_are_trimmed_unique_and_found_whatever_their_capitals(store: Store) -> None:
    with store.write() as tx:
        made = garden.add_tray(tx, " Süd 1 ", cells=72, litres=3.5, note="by the wall")
        assert garden.tray_named(tx, "süd 1") == made
        assert garden.tray_named(tx, "Su\u0308d 1 ") == made  # the same letters, decomposed
        assert garden.add_place(tx, "Süd 1", "open bench").name == "Süd 1"  # another noun
    with pytest.raises(UsageError, match="already a tray called “Süd 1”"), store.write() as tx:
        garden.add_tray(tx, "SÜD 1")
    with store.read() as tx:
        assert garden.trays(tx) == [made]
    assert (made.cells, made.litres, made.note) == (72, 3.5, "by the wall")


def test_an_unknown_name_suggests_the_nearest(store: Store) -> None:
    with store.write() as tx:
        garden.add_tray(tx, "Tomatoes 1")
        with pytest.raises(UnknownNameError, match="did you mean “Tomatoes 1”"):
            garden.tray_named(tx, "tomatos 1")
        for noun, lookup in (
            ("place", garden.place_named),
            ("mix", garden.mix_named),
            ("lot", garden.lot_named),
        ):
            with pytest.raises(UnknownNameError, match=f"There is no {noun} called “x”"):
                lookup(tx, "x")


def test_a_place_is_covered_as_its_kind_is_unless_the_grower_says_otherwise(store: Store) -> None:
    with store.write() as tx:
        assert garden.add_place(tx, "frame", "cold frame").covered is True
        assert garden.add_place(tx, "bench", PlaceKind.OPEN_BENCH).covered is False
        assert garden.add_place(tx, "old frame", "cold frame", covered=False).covered is False
        assert [p.kind.value for p in garden.places(tx)] == ["cold frame", "open bench", "cold frame"]
    with pytest.raises(UsageError, match="did you mean “cold frame”"), store.write() as tx:
        garden.add_place(tx, "x", "coldframe")


def test_a_mix_has_a_dry_line_at_half_its_container_capacity_unless_given(store: Store) -> None:
    with store.write() as tx:
        plain = garden.add_mix(tx, "peat", {"peat": 3, "perlite": 1})
        own = garden.add_mix(tx, "bark", {}, container_capacity_m3_m3=0.48, dry_line_m3_m3=0.2, note="n")
        assert garden.mixes(tx) == [plain, own]
    assert plain.parts == {"peat": 3.0, "perlite": 1.0}
    assert (plain.container_capacity_m3_m3, plain.dry_line_m3_m3) == (0.55, 0.275)
    assert (own.container_capacity_m3_m3, own.dry_line_m3_m3, own.note) == (0.48, 0.2, "n")


@pytest.mark.parametrize(
    ("capacity", "dry_line", "parts", "says"),
    [
        (55.0, None, {}, "container capacity of 55 "),
        (1.0, 0.5, {}, "container capacity of 1 "),
        (0.5, 0.5, {}, "dry line of 0.5 "),
        (0.5, 0.0, {}, "dry line of 0 "),
        (0.5, float("nan"), {}, "dry line of nan "),
        (0.5, 0.2, {"peat": 0}, "“peat” of the mix has a share of 0"),
        (0.5, 0.2, {"peat": float("inf")}, "share of inf"),
    ],
)
def test_a_mix_that_cannot_be_is_refused(
    store: Store, capacity: float, dry_line: float | None, parts: dict[str, float], says: str
) -> None:
    with pytest.raises(UsageError, match=says), store.write() as tx:
        garden.add_mix(tx, "m", parts, capacity, dry_line)


def test_changing_a_mix_changes_only_what_is_given(store: Store) -> None:
    with store.write() as tx:
        made = garden.add_mix(tx, "Peat", {"peat": 1}, 0.6, 0.2, "old")
        changed = garden.change_mix(tx, "peat", dry_line_m3_m3=0.25)
        assert changed.mix_id == made.mix_id
        assert (changed.name, changed.parts, changed.note) == ("Peat", {"peat": 1.0}, "old")
        assert (changed.container_capacity_m3_m3, changed.dry_line_m3_m3) == (0.6, 0.25)
        with pytest.raises(UsageError, match=r"dry line of 0\.25 "):
            garden.change_mix(tx, "peat", container_capacity_m3_m3=0.2)


def test_a_lot_keeps_what_is_known_of_its_seed(store: Store) -> None:
    with store.write() as tx:
        made = garden.add_lot(tx, "Gold 2025", "tomato", 0.86, True, 200, 3.2, "home-saved")
        garden.add_lot(tx, "bare", "lettuce")
        assert garden.lot_named(tx, "gold 2025") == made
        assert [lot.crop for lot in garden.lots(tx)] == ["tomato", "lettuce"]
    assert (made.germination, made.tested, made.seeds, made.price) == (0.86, True, 200, 3.2)
    with pytest.raises(UsageError, match="germination of 86 "), store.write() as tx:
        garden.add_lot(tx, "x", "tomato", germination=86)


def test_numbers_of_a_tray_that_cannot_be_are_refused(store: Store) -> None:
    with pytest.raises(UsageError, match="number of cells of 0 "), store.write() as tx:
        garden.add_tray(tx, "x", cells=0)
    with pytest.raises(UsageError, match="volume of mix of -1 "), store.write() as tx:
        garden.add_tray(tx, "x", litres=-1)
