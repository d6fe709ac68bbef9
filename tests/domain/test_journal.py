"""The journal: corrections, undo, and the state of the garden at any past instant."""

from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.garden import Mix
from traywarden.domain.journal import Calibration, Entry, Facts, Kind, standing

HOUR = 3_600_000


def moved(entry_id: int, at_h: int, place: int, replaces: int | None = None) -> Entry:
    return Entry(entry_id, at_h * HOUR, entry_id, Kind.MOVED, tray_id=1, place_id=place, replaces=replaces)


def undone(entry_id: int, replaces: int) -> Entry:
    return Entry(entry_id, 0, entry_id, Kind.UNDONE, replaces=replaces)


def test_a_correction_takes_the_place_of_what_it_corrects() -> None:
    held = standing([moved(1, 5, place=10), moved(2, 7, place=10, replaces=1)])
    assert [(e.entry_id, e.at_ms) for e in held] == [(2, 7 * HOUR)]


def test_undoing_an_undo_brings_the_entry_back() -> None:
    assert standing([moved(1, 5, 10), undone(2, 1)]) == []
    assert [e.entry_id for e in standing([moved(1, 5, 10), undone(2, 1), undone(3, 2)])] == [1]


def test_undoing_a_correction_brings_the_first_word_back() -> None:
    held = standing([moved(1, 5, 10), moved(2, 7, 11, replaces=1), undone(3, 2)])
    assert [e.entry_id for e in held] == [1]


def test_a_correction_of_a_correction_does_not_bring_the_first_word_back() -> None:
    chain = [moved(1, 5, 10), moved(2, 7, 11, replaces=1), moved(3, 8, 12, replaces=2)]
    assert [e.entry_id for e in standing(chain)] == [3]
    assert [e.entry_id for e in standing([*chain, undone(4, 3)])] == [2]


def test_the_place_of_a_tray_can_be_asked_for_any_past_instant() -> None:
    facts = Facts([moved(1, 0, 10), moved(2, 24, 11), moved(3, 48, 10)])
    at = {h: facts.place_of_tray(1, h * HOUR) for h in (-1, 0, 23, 24, 47, 48, 1000)}
    assert at == {-1: None, 0: 10, 23: 10, 24: 11, 47: 11, 48: 10, 1000: 10}
    assert facts.place_of_tray(2, 0) is None


def test_an_entry_written_late_about_the_past_changes_just_its_stretch() -> None:
    facts = Facts([moved(1, 0, 10), moved(2, 48, 10), moved(3, 24, 11)])
    assert [facts.place_of_tray(1, h * HOUR) for h in (12, 36, 60)] == [10, 11, 10]


def test_a_head_taken_out_is_in_no_tray_until_it_is_placed_again() -> None:
    facts = Facts(
        [
            Entry(1, 0, 1, Kind.HEAD_PLACED, head_id=5, tray_id=1),
            Entry(2, 10, 2, Kind.HEAD_TAKEN_OUT, head_id=5),
            Entry(3, 20, 3, Kind.HEAD_PLACED, head_id=5, tray_id=2),
        ]
    )
    assert [facts.tray_of_head(5, t) for t in (0, 9, 10, 19, 20)] == [1, 1, None, None, 2]
    assert [s.where for s in facts.heads_in_tray(1, 0, 100)] == [1]
    assert facts.heads_in_tray(1, 10, 100) == []


def test_an_air_sensor_moved_from_a_place_into_a_tray_leaves_the_place() -> None:
    facts = Facts(
        [
            Entry(1, 0, 1, Kind.HEAD_PLACED, head_id=5, place_id=7),
            Entry(2, 10, 2, Kind.HEAD_PLACED, head_id=5, tray_id=1),
        ]
    )
    assert facts.heads_in_place(7, 0, 10) != []
    assert facts.heads_in_place(7, 10, 20) == []
    assert facts.tray_of_head(5, 10) == 1
    assert facts.tray_of_head(5, 9) is None


def test_a_sowing_ends_when_the_tray_is_planted_out() -> None:
    sown = Entry(1, 0, 1, Kind.SOWED, tray_id=1, data={"crop": "tomato"})
    facts = Facts([sown, Entry(2, 100, 2, Kind.PLANTED_OUT, tray_id=1)])
    assert facts.sowing_of_tray(1, 50) == sown
    assert facts.sowing_of_tray(1, 100) is None
    assert facts.sowing_of_tray(2, 50) is None
    assert [facts.planted_out(1, at_ms) for at_ms in (50, 100)] == [False, True]
    assert not facts.planted_out(2, 100)  # never sown: a tray that may well hold something


def test_a_count_of_none_is_no_emergence() -> None:
    sown = Entry(1, 10, 10, Kind.SOWED, tray_id=1)
    none_up = Entry(2, 50, 50, Kind.EMERGED, tray_id=1, data={"count": 0})
    some_up = Entry(3, 90, 90, Kind.EMERGED, tray_id=1, data={"count": 4})
    facts = Facts([sown, none_up, some_up])
    assert facts.emergence_of_sowing(sown, 60) is None
    assert facts.emergence_of_sowing(sown, 100) == some_up


def test_seedlings_that_were_potted_up_had_come_up() -> None:
    sown, again = (Entry(n, at_ms, n, Kind.SOWED, tray_id=1) for n, at_ms in ((1, 10), (4, 200)))
    none_up = Entry(2, 50, 50, Kind.EMERGED, tray_id=1, data={"count": 0})
    potted = Entry(3, 90, 90, Kind.POTTED_UP, tray_id=1)
    facts = Facts([sown, none_up, potted, again])
    assert [facts.emergence_of_sowing(sown, at_ms) for at_ms in (89, 90)] == [None, potted]
    assert facts.emergence_of_sowing(again, 300) is None


def test_emergence_belongs_to_the_sowing_before_it() -> None:
    first = Entry(1, 0, 1, Kind.SOWED, tray_id=1)
    up = Entry(2, 50, 2, Kind.EMERGED, tray_id=1, data={"count": 3})
    second = Entry(3, 100, 3, Kind.SOWED, tray_id=1)
    facts = Facts([first, up, second])
    assert facts.emergence_of_sowing(first, 60) == up
    assert facts.emergence_of_sowing(first, 40) is None
    assert facts.emergence_of_sowing(second, 200) is None


def test_a_head_uses_its_own_calibration_before_that_of_its_mix() -> None:
    of_mix = Entry(1, 0, 1, Kind.CALIBRATED, mix_id=3, data={"points": [[2.6, 0.02], [1.2, 0.55]]})
    of_head = Entry(2, 10, 2, Kind.CALIBRATED, head_id=5, data={"points": [[2.6, 0.02], [1.3, 0.55]]})
    facts = Facts([of_mix, of_head])
    assert [c.points for c in facts.calibrations(5, 3)] == [((1.3, 0.55), (2.6, 0.02))]
    assert [c.points for c in facts.calibrations(6, 3)] == [((1.2, 0.55), (2.6, 0.02))]
    assert facts.calibrations(6, None) == []


def points(entry_id: int, at_h: int, low_m3_m3: float, head: int = 5, replaces: int | None = None) -> Entry:
    data = {"points": [[2.6, low_m3_m3], [1.3, 0.55]]}
    at_ms = at_h * HOUR
    return Entry(entry_id, at_ms, entry_id, Kind.CALIBRATED, head_id=head, data=data, replaces=replaces)


def filled(entry_id: int, at_h: int, tray: int, mix: int) -> Entry:
    return Entry(entry_id, at_h * HOUR, entry_id, Kind.FILLED, tray_id=tray, mix_id=mix)


def placed(entry_id: int, at_h: int, tray: int, head: int = 5) -> Entry:
    return Entry(entry_id, at_h * HOUR, entry_id, Kind.HEAD_PLACED, tray_id=tray, head_id=head)


def test_a_heads_own_calibration_counts_in_the_mix_it_was_made_in() -> None:
    """In another mix that of the mix holds, and where there is none its own, marked."""
    trays = [filled(1, 0, tray=1, mix=3), filled(2, 0, tray=2, mix=4), placed(3, 1, tray=1)]
    own, moved_on = points(4, 2, 0.01), placed(5, 10, tray=2)
    facts = Facts([*trays, own, moved_on])
    assert [(c.points[1][1], c.elsewhere) for c in facts.calibrations(5, 3)] == [(0.01, False)]
    assert [(c.points[1][1], c.elsewhere) for c in facts.calibrations(5, 4)] == [(0.01, True)]
    assert facts.calibrated_in(5, 3)
    assert not facts.calibrated_in(5, 4)
    of_mix = Entry(6, 11 * HOUR, 6, Kind.CALIBRATED, mix_id=4, data={"points": [[2.6, 0.02], [1.2, 0.5]]})
    facts = Facts([*trays, own, moved_on, of_mix])
    assert [c.points[1][1] for c in facts.calibrations(5, 4)] == [0.02]
    facts = Facts([*trays, own, moved_on, of_mix, points(7, 12, 0.03)])
    assert [c.points[1][1] for c in facts.calibrations(5, 4)] == [0.03]
    assert [c.points[1][1] for c in facts.calibrations(5, 3)] == [0.01]


def test_a_calibration_made_before_the_head_was_in_any_tray_is_of_the_first_mix_it_came_into() -> None:
    trays = [filled(1, 0, tray=1, mix=3), filled(2, 0, tray=2, mix=4)]
    in_the_pot = points(3, 1, 0.01)
    assert Facts([*trays, in_the_pot]).calibrated_in(5, 3)  # nothing says otherwise
    facts = Facts([*trays, in_the_pot, placed(4, 2, tray=2), placed(5, 9, tray=1)])
    assert facts.calibrated_in(5, 4)
    assert not facts.calibrated_in(5, 3)


def test_a_tray_filled_anew_makes_another_mix_of_it() -> None:
    facts = Facts([filled(1, 0, tray=1, mix=3), placed(2, 1, tray=1), points(3, 2, 0.01), filled(4, 9, 1, 4)])
    assert [c.elsewhere for mix in (3, 4) for c in facts.calibrations(5, mix)] == [False, True]


MIX = Mix(3, "Seed mix", {}, 0.55, 0.25)


def held(entries: list[Entry], at_h: int, tray: int | None = 1) -> float:
    return Facts(entries).mix_as_held(MIX, tray, at_h * HOUR).container_capacity_m3_m3


def accepted(entry_id: int, at_h: int, *heads: tuple[int, int], tray: int | None = None) -> Entry:
    data = {"container_capacity_m3_m3": 0.48, "waterings": 9, "heads": [list(pair) for pair in heads]}
    at_ms = at_h * HOUR
    return Entry(entry_id, at_ms, entry_id, Kind.CAPACITY_ACCEPTED, tray_id=tray, mix_id=3, data=data)


def test_a_capacity_learned_on_a_scale_holds_no_more_once_its_head_reads_on_another() -> None:
    garden = [
        *(filled(n, 0, tray=n, mix=3) for n in (1, 2)),
        *(placed(n, 1, tray=n - 2, head=n + 2) for n in (3, 4)),  # heads 5 and 6
        points(5, 2, 0.01),
        points(6, 2, 0.01, head=6),
        accepted(7, 10, (5, 5), (6, 6)),
    ]
    assert [held(garden, h) for h in (9, 10, 40)] == [0.55, 0.48, 0.48]
    anew = [*garden, points(8, 30, 0.03)]
    assert [held(anew, h) for h in (20, 29, 30, 40)] == [0.48, 0.48, 0.55, 0.55]
    assert [held(anew, h, tray=2) for h in (20, 40)] == [0.48, 0.48]  # its own head reads as before
    assert held(anew, 40, tray=None) == 0.48
    assert held([*anew, points(9, 30, 0.03, head=6)], 40, tray=None) == 0.55
    assert held([*anew, undone(9, 8)], 40) == 0.48
    again = [*anew, accepted(9, 50, (5, 8), (6, 6))]
    assert [held(again, h) for h in (49, 50)] == [0.55, 0.48]
    assert held([*garden, undone(8, 5)], 40) == 0.55  # the calibration it was learned by was taken back
    redone = [*garden, points(8, 2, 0.03, replaces=5)]
    assert [held(redone, h) for h in (10, 40)] == [0.55, 0.55]  # that changes what was measured all along


def test_a_first_calibration_explains_the_past_and_so_ends_what_was_learned_without_it() -> None:
    garden = [filled(1, 0, tray=1, mix=3), placed(2, 1, tray=1), accepted(3, 10, (5, 0), tray=1)]
    assert held(garden, 40) == 0.48
    assert [held([*garden, points(4, 30, 0.03)], h) for h in (20, 40)] == [0.55, 0.55]
    of_mix = Entry(4, 30 * HOUR, 4, Kind.CALIBRATED, mix_id=3, data={"points": [[2.6, 0.02], [1.2, 0.5]]})
    assert held([*garden, of_mix], 40) == 0.55


def test_a_head_that_came_later_or_went_ends_nothing_and_a_value_given_by_hand_stands() -> None:
    garden = [filled(1, 0, tray=1, mix=3), placed(2, 1, tray=1), points(3, 2, 0.01), accepted(4, 10, (5, 3))]
    later = [*garden, placed(5, 20, tray=1, head=6), points(6, 21, 0.04, head=6)]
    assert held(later, 40) == 0.48
    by_hand = Entry(4, 10 * HOUR, 4, Kind.CAPACITY_ACCEPTED, mix_id=3, data={"container_capacity_m3_m3": 0.5})
    assert held([*garden[:3], by_hand, points(5, 30, 0.03)], 40) == 0.5


def test_a_calibration_written_as_a_dry_and_a_wet_point_is_still_read() -> None:
    data = {"dry_v": 2.6, "dry_m3_m3": 0.02, "wet_v": 1.2, "wet_m3_m3": 0.55}
    facts = Facts([Entry(1, 0, 1, Kind.CALIBRATED, head_id=5, data=data)])
    assert facts.calibrations(5, None) == [Calibration(0, ((1.2, 0.55), (2.6, 0.02)))]


@given(
    st.lists(st.tuples(st.integers(0, 50), st.integers(1, 4)), min_size=1, max_size=20),
    st.integers(0, 60),
)
def test_the_last_move_up_to_an_instant_decides_where_a_tray_is(
    moves: list[tuple[int, int]], at_h: int
) -> None:
    entries = [moved(n, hour, place) for n, (hour, place) in enumerate(moves, 1)]
    before = [(hour, n, place) for n, (hour, place) in enumerate(moves, 1) if hour <= at_h]
    assert Facts(entries).place_of_tray(1, at_h * HOUR) == (max(before)[2] if before else None)
