"""Spells of old readings: over after a minute of silence, never longer than ten minutes."""

from traywarden.services.spells import Spells


def test_a_tray_without_old_readings_is_settled() -> None:
    assert Spells().settled(1, 0.0, 0)


def test_a_minute_of_silence_settles_it_and_another_old_reading_unsettles_it() -> None:
    spells = Spells()
    spells.note(1, 0.0, 0)
    assert not spells.settled(1, 59.0, 0)
    spells.note(1, 59.0, 0)
    assert not spells.settled(1, 60.0, 0)
    assert spells.settled(1, 119.0, 0)
    assert spells.settled(2, 60.0, 0)


def test_an_hour_of_a_garden_played_back_fast_is_silence_enough() -> None:
    spells = Spells()
    spells.note(1, 0.0, 5_000)
    assert not spells.settled(1, 0.1, 3_604_999)
    assert spells.settled(1, 0.1, 3_605_000)


def test_a_spell_that_never_ends_is_told_of_every_ten_minutes() -> None:
    spells = Spells()
    for second in range(0, 601, 30):
        spells.note(1, float(second), 0)
    assert spells.settled(1, 600.0, 0)
    spells.told(600.0)
    spells.note(1, 630.0, 0)
    assert not spells.settled(1, 630.0, 0)
