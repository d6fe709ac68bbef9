"""The spool loses nothing that was confirmed and shows nothing never written, wherever power is cut."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.spool import Spool
from tests.firmware.fakes import Flash, PowerCut

LIMIT, SEGMENT = 1024, 256


def opened(flash: Flash) -> Spool:
    return Spool(flash, "data/spool", LIMIT, SEGMENT)  # type: ignore[arg-type]


def payload(number: int, size: int = 20) -> bytes:
    return (b"%08d" % number) + bytes([number % 251]) * (size - 8)


def held(spool: Spool) -> list[bytes]:
    """Everything that waits, read a little at a time."""
    found: list[bytes] = []
    after = None
    while entries := spool.peek(3, after):
        found += [data for _, data in entries]
        after = entries[-1][0]
    return found


def story(flash: Flash, done: dict[str, Any]) -> None:
    """Appends in blocks, frees, reopens, overflows; notes in `done` what it was told is safe."""
    spool = opened(flash)
    for step in range(14):
        block = [
            payload(number, 12 + number % 30) for number in range(done["next"], done["next"] + 1 + step % 4)
        ]
        done["trying"] = block
        spool.append(block)
        done["written"] += block
        done["next"] += len(block)
        done["trying"] = []
        if step % 3 == 2:
            number, data = spool.peek(4)[-1]
            index = done["written"].index(data)
            done["freeing"] = index + 1
            spool.free_through(number)
            done["freed"] = index + 1
        if step % 5 == 4:
            spool = opened(flash)


def told() -> dict[str, Any]:
    return {"next": 1, "written": [], "trying": [], "freed": 0, "freeing": 0}


def changes_of_the_story() -> int:
    flash = Flash()
    flash.cut_after = 1_000_000
    story(flash, told())
    return 1_000_000 - flash.cut_after


def test_a_cut_at_every_byte_and_directory_change_leaves_a_prefix_of_what_was_confirmed() -> None:
    for cut in range(changes_of_the_story()):
        flash, done = Flash(), told()
        flash.cut_after = cut
        with pytest.raises(PowerCut):
            story(flash, done)
        flash.cut_after = None
        spool = opened(flash)
        waiting = held(spool)
        everything = done["written"] + done["trying"]
        # What waits is one stretch of what was written, in order: no wrong, doubled or missing entry.
        first = everything.index(waiting[0]) if waiting else len(done["written"])
        assert waiting == everything[first : first + len(waiting)], cut
        assert first + len(waiting) >= len(done["written"]), f"{cut}: a confirmed entry is lost"
        assert first <= max(done["freed"], done["freeing"]) + spool.dropped, f"{cut}: freed without leave"
        assert first >= done["freed"], f"{cut}: a freed entry is back"
        assert len(spool) == len(waiting)
        # And it goes on as if nothing had been.
        spool.append([b"after the cut"])
        assert held(spool)[-1] == b"after the cut"
        assert held(opened(flash))[-1] == b"after the cut"


def test_two_cuts_one_after_the_other_leave_a_prefix_too() -> None:
    whole = changes_of_the_story()
    for first_cut in range(0, whole, 23):
        for second_cut in range(0, 60, 7):
            flash, done = Flash(), told()
            flash.cut_after = first_cut
            with pytest.raises(PowerCut):
                story(flash, done)
            flash.cut_after = second_cut
            kept: list[bytes] = []
            dropped = 0
            try:
                spool = opened(flash)
                kept, dropped = held(spool), spool.dropped
                spool.append([b"one", b"two"])
                kept += [b"one", b"two"]
            except PowerCut:
                pass
            flash.cut_after = None
            spool = opened(flash)
            kept = kept[spool.dropped - dropped if kept else 0 :]
            assert held(spool)[: len(kept)] == kept


@settings(max_examples=150)
@given(
    steps=st.lists(
        st.one_of(
            st.tuples(
                st.just("append"), st.lists(st.binary(min_size=1, max_size=60), min_size=1, max_size=5)
            ),
            st.tuples(st.just("free"), st.integers(0, 8)),
            st.tuples(st.just("open"), st.none()),
        ),
        max_size=40,
    )
)
def test_whatever_is_done_the_spool_is_a_bounded_queue(steps: list[tuple[str, Any]]) -> None:
    flash = Flash()
    spool = opened(flash)
    model: list[bytes] = []
    dropped = 0
    for step, argument in steps:
        if step == "append":
            spool.append(argument)
            model += argument
            more = spool.dropped - dropped
            assert more <= len(model) - len(argument), "an entry just written was dropped"
            model, dropped = model[more:], spool.dropped
        elif step == "free" and (entries := spool.peek(argument)):
            spool.free_through(entries[-1][0])
            model = model[len(entries) :]
        elif step == "open":
            spool = opened(flash)
        assert held(spool) == model
        assert len(spool) == len(model)
        logs = [data for name, data in flash.files.items() if name.endswith(".log")]
        assert sum(map(len, logs)) <= LIMIT


@given(st.data())
def test_any_damaged_byte_costs_entries_but_never_shows_a_wrong_one(data: st.DataObject) -> None:
    flash = Flash()
    spool = opened(flash)
    entries = [payload(number) for number in range(1, 25)]
    for entry in entries:
        spool.append([entry])
    name = data.draw(st.sampled_from(sorted(name for name in flash.files if name.endswith(".log"))))
    at = data.draw(st.integers(0, len(flash.files[name]) - 1))
    flip = data.draw(st.integers(1, 255))
    before = flash.files[name]
    flash.files[name] = before[:at] + bytes([before[at] ^ flip]) + before[at + 1 :]
    spool = opened(flash)
    found = held(spool)
    assert [entry for entry in found if entry not in entries] == []
    assert found == sorted(found)
    assert len(found) >= len(entries) - SEGMENT // len(entries[0])
    spool.append([b"goes on"])
    assert held(opened(flash))[-1] == b"goes on"


def test_an_intact_entry_out_of_its_place_is_not_read() -> None:
    """Some file systems write sectors out of order: what follows a torn entry may be an older one, whole."""
    flash, other = Flash(), Flash()
    opened(other).append([b"one", b"two", b"other three", b"four"])
    opened(flash).append([b"one", b"two"])
    (name,) = [name for name in flash.files if name.endswith(".log")]
    whole = other.files[name]
    flash.files[name] += whole[-(len(b"four") + 10) :]
    spool = opened(flash)
    assert held(spool) == [b"one", b"two"]
    spool.append([b"three"])
    assert held(opened(flash)) == [b"one", b"two", b"three"]


def test_damage_in_the_middle_is_counted_once() -> None:
    flash = Flash()
    spool = opened(flash)
    spool.append([payload(number) for number in range(1, 9)])
    spool.append([payload(number) for number in range(9, 12)])
    first = min(name for name in flash.files if name.endswith(".log"))
    flash.files[first] = flash.files[first][:-1]
    spool = opened(flash)
    for _ in range(3):
        assert held(spool) == [payload(n) for n in (1, 2, 3, 4, 5, 6, 7, 9, 10, 11)]
    assert spool.damaged == 1


def test_the_oldest_go_when_it_is_full_and_are_counted_over_restarts() -> None:
    flash = Flash()
    spool = opened(flash)
    for number in range(1, 201):
        spool.append([payload(number)])
    spool = opened(flash)
    assert held(spool) == [payload(n) for n in range(201 - len(spool), 201)]
    assert spool.dropped == 200 - len(spool)
    assert len(spool) >= (LIMIT - SEGMENT) // 30


def test_a_full_flash_makes_the_oldest_go_rather_than_the_newest() -> None:
    flash = Flash()
    flash.most_bytes = 700
    spool = opened(flash)
    for number in range(1, 61):
        spool.append([payload(number)])
    assert held(opened(flash))[-1] == payload(60)
    assert spool.dropped == 60 - len(spool)


def test_a_write_that_fails_changes_nothing_and_may_be_tried_again() -> None:
    flash = Flash()
    spool = opened(flash)
    spool.append([b"one"])
    flash.broken = True
    with pytest.raises(OSError, match="broken"):
        spool.append([b"two"])
    flash.broken = False
    assert held(spool) == [b"one"]
    spool.append([b"two", b"three"])
    assert held(spool) == held(opened(flash)) == [b"one", b"two", b"three"]


def test_what_cannot_be_marked_as_freed_is_kept() -> None:
    flash = Flash()
    spool = opened(flash)
    spool.append([b"one", b"two"])
    flash.broken = True
    with pytest.raises(OSError, match="broken"):
        spool.free_through(1)
    flash.broken = False
    assert held(spool) == [b"one", b"two"]


def test_numbers_are_never_used_twice_even_when_all_is_freed() -> None:
    flash = Flash()
    spool = opened(flash)
    spool.append([b"one", b"two"])
    spool.free_through(2)
    for name in [name for name in flash.files if name.endswith(".log")]:
        del flash.files[name]
    spool = opened(flash)
    assert len(spool) == 0
    spool.append([b"three"])
    assert spool.peek(1) == [(3, b"three")]


def test_freeing_more_than_there_is_frees_nothing_that_comes_later() -> None:
    flash = Flash()
    spool = opened(flash)
    spool.append([b"one"])
    spool.free_through(99)
    spool.append([b"two"])
    assert held(opened(flash)) == [b"two"]


def test_the_newest_entry_is_known_when_it_opens() -> None:
    flash = Flash()
    opened(flash).append([b"one", b"two"])
    assert opened(flash).newest == b"two"


@pytest.mark.parametrize("wrong", [b"", bytes(513)])
def test_an_entry_that_could_not_be_read_back_is_refused(wrong: bytes) -> None:
    with pytest.raises(ValueError, match="entry"):
        opened(Flash()).append([wrong])


def test_a_block_costs_its_bytes_and_ten_for_each_entry() -> None:
    flash = Flash()
    spool = opened(flash)
    before = flash.written
    spool.append([bytes([1]) * 20] * 6)
    assert flash.written - before == 6 * 30
