"""Spells of old readings: over after a minute of silence, never longer than ten minutes."""

from traywarden.domain.subjects import a_tray
from traywarden.services.spells import Spells

A, B = a_tray(1), a_tray(2)


def test_a_tray_without_old_readings_is_settled() -> None:
    assert Spells().settled(A, 0.0, 0)


def test_a_minute_of_silence_settles_it_and_another_old_reading_unsettles_it() -> None:
    spells = Spells()
    spells.note(A, 0.0, 0)
    assert not spells.settled(A, 59.0, 0)
    spells.note(A, 59.0, 0)
    assert not spells.settled(A, 60.0, 0)
    assert spells.settled(A, 119.0, 0)
    assert spells.settled(B, 60.0, 0)


def test_an_hour_of_a_garden_played_back_fast_is_silence_enough() -> None:
    spells = Spells()
    spells.note(A, 0.0, 5_000)
    assert not spells.settled(A, 0.1, 3_604_999)
    assert spells.settled(A, 0.1, 3_605_000)


def test_a_spell_that_never_ends_is_told_of_every_ten_minutes() -> None:
    spells = Spells()
    for second in range(0, 601, 30):
        spells.note(A, float(second), 0)
    assert spells.settled(A, 600.0, 0)
    spells.told(600.0)
    spells.note(A, 630.0, 0)
    assert not spells.settled(A, 630.0, 0)
