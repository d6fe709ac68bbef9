"""Answers about places, as a grower reads them on screen."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from traywarden.cli.tables import Notes, print_answer, print_rows, say, say_notes
from traywarden.domain.units import Display
from traywarden.services.questions.answer_table import sentence
from traywarden.services.questions.frame import FrameAnswer
from traywarden.services.questions.frame_words import (
    frame_lines,
    harden_days_table,
    harden_table,
    openings_table,
    spells_table,
    stood_lines,
)
from traywarden.services.questions.germination_hours import HoursAnswer
from traywarden.services.questions.harden import HardenAnswer
from traywarden.services.questions.place_tables import (
    PAIRS_WORDS,
    WORDS,
    against_table,
    counted_words,
    hours_table,
    means_table,
    pairs_table,
    rank_table,
)
from traywarden.services.questions.places import PlacesAnswer
from traywarden.services.questions.places_now import PlacesNowAnswer
from traywarden.services.questions.places_now_words import now_table
from traywarden.services.questions.rank import RankAnswer


def print_places(answer: PlacesAnswer, display: Display) -> None:
    say(answer.sentence)
    say(f"\n{answer.first_day} to {answer.last_day}, {answer.measured}, on average over the days each has:")
    print_answer(means_table(answer, display))
    against = against_table(answer, display)
    if against.rows:
        say(f"\nAgainst {answer.against}, on the same days:")
        print_answer(against)
    say(WORDS)
    _say_all(answer.remarks)


def print_rank(answer: RankAnswer, display: Display) -> None:
    say(answer.sentence)
    say(f"\n{counted_words(answer, display)}")
    print_answer(rank_table(answer))
    if answer.ranking.pairs:
        say("")
        print_answer(pairs_table(answer))
        say(PAIRS_WORDS)
    _say_all(answer.remarks)


def print_hours(answer: HoursAnswer, display: Display) -> None:
    notes = Notes()
    say(f"Hours a day in which {answer.measured} lets seed come up, by month and place:")
    for crop, (low_c, high_c), source in zip(answer.crops, answer.ranges_c, answer.sources, strict=True):
        say(f"\n{crop}, {display.limit(low_c)} to {display.limit(high_c)} {notes.mark(source)}")
        print_answer(hours_table(answer, crop))
    say("")
    notes.say()
    say("To rank the places for one crop and month: traywarden places rank CROP --month 4")


def print_now(answer: PlacesNowAnswer, display: Display) -> None:
    say(answer.sentence)
    if answer.places:
        print_answer(now_table(answer, display))


def print_frame(answer: FrameAnswer, display: Display, zone: ZoneInfo) -> None:
    first, *lines = frame_lines(answer, display)
    say(answer.sentence)
    if answer.night:
        say(answer.night)
    say(f"\n{first}")
    for line in lines:
        say(line)
    if answer.openings:
        say("")
        print_answer(openings_table(answer, display))
    hot = spells_table(answer, display, zone)
    if hot.rows:
        say("\nHot spells without an opening that shows:")
        print_answer(hot)
    _say_all(answer.remarks)


def print_harden(answer: HardenAnswer, display: Display) -> None:
    say(answer.sentence)
    for line in answer.nights:
        say(f"{line}.")
    say(f"\n{answer.subject} against {answer.against} [95 % interval]:")
    print_answer(harden_table(answer, display))
    say("")
    days = harden_days_table(answer, display)
    print_rows(days)
    say_notes(days)
    for line in stood_lines(answer):
        say(line)
    _say_all(answer.remarks)


def _say_all(remarks: Sequence[str]) -> None:
    for remark in remarks:
        say(sentence(remark))
