"""How often notices come: a recorded year as a garden of eight trays, with the settings as they come."""

import tempfile
from collections.abc import Iterator
from datetime import date, timedelta
from functools import cache
from pathlib import Path

from tests.figures.field_year import ZONE, Year, fill, year
from tests.services.watched_garden import settings_with
from traywarden.domain.days import day_start_ms
from traywarden.services.questions.ground import ground
from traywarden.services.questions.replayed import ReplayAnswer, ReplayAsked, ask_replay
from traywarden.store import garden as garden_store
from traywarden.store.store import Store

YEAR = (date(1998, 1, 1), date(1998, 12, 31))
LEAD_D = 60
"""Days before a span that its answers may look back to: nights, dry-downs, sowings."""


@cache
def folder() -> Path:
    return Path(tempfile.mkdtemp())


@cache
def made(kind: str) -> Year:
    return year(kind)


@cache
def store(kind: str, start: date, end: date) -> Store:
    """These days of the year and what must be known before; `kind` is “soil” or “mix”, see field_year."""
    found = Store.open(f"sqlite:///{folder() / f'{kind}-{start}-{end}.sqlite3'}")
    first, last = start - timedelta(days=LEAD_D), end + timedelta(days=1)
    fill(found, made(kind), day_start_ms(first, ZONE), day_start_ms(last, ZONE))
    return found


@cache
def replayed(kind: str, start: date, end: date, rules: tuple[str, ...] = ()) -> ReplayAnswer:
    """What would have been told in these days, with the settings as they come."""
    with store(kind, start, end).read() as tx:
        garden = garden_store.the_garden(tx)
        assert garden is not None
        now_ms = day_start_ms(end + timedelta(days=1), ZONE)
        on = ground(tx, garden, settings_with(wire__earliest_year=1990, notices__gather_s=120.0), now_ms)
        return ask_replay(on, ReplayAsked(start, end, rules))


def too_near(answer: ReplayAnswer) -> list[str]:
    """Rules of which two beginnings about one thing came nearer to each other than their stated gap."""
    return [r.rule for r in answer.rules if r.nearest_s is not None and r.nearest_s < r.gap_s]


def lines() -> Iterator[str]:
    for kind, words in (("soil", "soil as recorded"), ("mix", "trays of mix under the recorded weather")):
        yield f"Bondville 1998 as eight trays, {YEAR[0]} to {YEAR[1]}, all rules; {words}"
        yield from told(replayed(kind, *YEAR))


def told(answer: ReplayAnswer) -> Iterator[str]:
    """What a replay comes to, in lines."""
    near = too_near(answer)
    yield (
        f"  {len(answer.notices)} notices in {answer.weeks} weeks: {answer.week_median:g} a week in the "
        f"median, at most {answer.week_most}"
    )
    yield (
        f"  about one tray in one of its {answer.tray_weeks} weeks with something in it: "
        f"{answer.tray_week_median:g} in the median, {answer.tray_week_mean:g} in the mean, at most "
        f"{answer.tray_week_most}; more than three in {100 * answer.tray_weeks_many:.0f} % of them"
    )
    for each in answer.rules:
        if each.notices:
            nearest = "" if each.nearest_s is None else f", the nearest {each.nearest_s / 3600:.1f} h apart"
            yield (
                f"  {each.rule}: {each.notices} notices ({each.begun} begin, {each.reminded} remind, "
                f"{each.ended} end) of {each.episodes} episodes{nearest} (stated {each.gap_s / 3600:.1f} h)"
            )
    yield f"  nearer than the stated gap: {', '.join(near) or 'none'}"
