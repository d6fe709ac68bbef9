"""Every question about a whole season of a whole garden, against pandas and scipy doing the same job.

50 heads in 50 trays and six in the air, 270 days, every ten minutes: some 2.2 million readings. The store is
warm: the host's upkeep has run since the last reading. Each question is asked in a snapshot of its own, in
this process: starting the interpreter is not counted, and measured apart for `today`. Ours is the best of
three; the straightforward way takes too long to be asked twice, and is asked once where several share it.

A new question is one more row in QUESTIONS.
"""

import gc
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from tests.benchmarks import straightforward_answers as plainly
from tests.benchmarks.figures import Figure
from tests.benchmarks.season import DAY_MS, DAYS, Season, season
from tests.benchmarks.straightforward import Plain
from traywarden.domain.days import local_date
from traywarden.services.questions.backtest import ask_backtest
from traywarden.services.questions.batch import ask_batch
from traywarden.services.questions.batches import ask_batches
from traywarden.services.questions.compare import CompareAsked, ask_compare
from traywarden.services.questions.degree_days import DegreeDaysAsked, ask_degree_days
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_now import emergence_now
from traywarden.services.questions.frame import FrameAsked, ask_frame
from traywarden.services.questions.germination_hours import ask_hours
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.harden import HardenAsked, ask_harden
from traywarden.services.questions.learned import ask_learned
from traywarden.services.questions.level import ask_level
from traywarden.services.questions.mix_advice import ask_mix_advice
from traywarden.services.questions.mixes import ask_mix_compare
from traywarden.services.questions.moisture import ask_moisture
from traywarden.services.questions.outlook import ask_outlook
from traywarden.services.questions.place_outlook import ask_place_outlook
from traywarden.services.questions.places import PlacesAsked, ask_places
from traywarden.services.questions.plan import PlanAsked, ask_plan, ask_warm
from traywarden.services.questions.quality import ask_quality
from traywarden.services.questions.rank import RankAsked, ask_rank
from traywarden.services.questions.seeds import SeedsAsked, ask_seeds
from traywarden.services.questions.today import ask_today
from traywarden.services.questions.waterings import ask_waterings
from traywarden.services.questions.week import ask_week
from traywarden.services.upkeep import keep_results, pack_days

ROUNDS = 3
MOST_S, MOST_TODAY_S = 2.0, 0.3


@dataclass(frozen=True)
class Question:
    """A question as we answer it, and the straightforward way to the same; None where that reads nothing."""

    name: str
    ours: Callable[[Ground], Any]
    plainly: plainly.Answer | None
    most_s: float | None = MOST_S


def first(on: Ground) -> date:
    """The first day of the season."""
    return local_date(on.now_ms - DAYS * DAY_MS + DAY_MS // 2, on.zone)


def readings_of_a_tray(on: Ground) -> list[Any]:
    """What a notebook asks for: a tray's single readings of the whole season."""
    (tray_id,) = (tray.tray_id for tray in on.trays.values() if tray.name == "T01")
    return on.tray_series(tray_id, on.now_ms - DAYS * DAY_MS, on.now_ms + 1)


def _degree_days(on: Ground) -> Any:
    return ask_degree_days(on, DegreeDaysAsked(place="Open bench", base_c=10.0, start=first(on)))


def _compare(on: Ground) -> Any:
    return ask_compare(on, CompareAsked("Cold frame", "Open bench", first(on), measured="soil"))


def _plan(on: Ground) -> Any:
    wanted = date(2027, 5, 15)
    return ask_plan(on, [PlanAsked(crop, "Open bench", wanted) for crop in ("tomato", "lettuce", "pepper")])


QUESTIONS = (
    Question("today", ask_today, plainly.today, MOST_TODAY_S),
    Question("outlook", ask_outlook, plainly.today),
    Question("outlook of places", ask_place_outlook, plainly.air_and_soil_of_places),
    Question("waterings", lambda on: ask_waterings(on, days=DAYS), plainly.waterings),
    Question("dry-down", lambda on: ask_dry_down(on, days=DAYS), plainly.dry_downs),
    Question("degree-days of a place", _degree_days, plainly.degree_days),
    Question("compare", _compare, plainly.compare),
    Question("quality", lambda on: ask_quality(on, days=DAYS), plainly.quality),
    Question("emergence", ask_emergence, plainly.emergence),
    Question("emergence at a glance", emergence_now, plainly.emergence),
    Question("emergence learned", ask_learned, plainly.emergence),
    Question("moisture", lambda on: ask_moisture(on, days=DAYS), plainly.moisture),
    Question("mix compare", lambda on: ask_mix_compare(on, "Peat mix", "Bark mix", DAYS), plainly.mix_rates),
    Question("mix advice", lambda on: ask_mix_advice(on, days=DAYS), plainly.mix_rates),
    Question("level", lambda on: ask_level(on, days=DAYS), plainly.levels),
    Question("places compare", lambda on: ask_places(on, PlacesAsked(first(on))), plainly.places_and_drying),
    Question(
        "places compare, soil",
        lambda on: ask_places(on, PlacesAsked(first(on), measured="soil")),
        plainly.places_and_drying,
    ),
    Question("places hours", lambda on: ask_hours(on, start=first(on)), plainly.soil_of_places),
    Question("places rank", lambda on: ask_rank(on, RankAsked("tomato")), plainly.soil_of_places),
    Question(
        "places frame",
        lambda on: ask_frame(on, FrameAsked("Cold frame", start=first(on))),
        plainly.air_of_places,
    ),
    Question(
        "places harden",
        lambda on: ask_harden(on, HardenAsked("Cold frame", days=DAYS)),
        plainly.air_of_places,
    ),
    Question("plan", _plan, plainly.soil_of_places),
    Question("plan warm", lambda on: ask_warm(on, "tomato", "Open bench"), plainly.degree_days),
    Question("readings of a tray", readings_of_a_tray, lambda plain: next(plain.of_trays(DAYS))),
    # A check rather than a question: it asks the outlook a hundred thousand times into the past.
    Question("outlook back-test", ask_backtest, None, None),
    Question("seeds", lambda on: ask_seeds(on, SeedsAsked("tomato lot", plants=100)), None),
    Question("batch", lambda on: ask_batch(on, "T01@2026-04-20", "T09@2026-04-20"), None),
    Question("batches", lambda on: ask_batches(on, by="place"), None),
    Question("week", ask_week, None),
)


@contextmanager
def warm_season() -> Iterator[Season]:
    """The garden in a folder of its own, for this run alone, with all upkeep done."""
    with tempfile.TemporaryDirectory() as name:
        made = season(Path(name))
        try:
            began_s = time.perf_counter()
            size = _size_mib(made)
            days = pack_days(made.store, made.settings, made.now_ms)
            packed_s, packed_size = time.perf_counter() - began_s, _size_mib(made)
            results = sum(
                keep_results(made.store, made.settings, tray_id, made.now_ms)
                for tray_id in made.trays.values()
            )
            kept_s = time.perf_counter() - began_s - packed_s
            print(
                f"questions: {size:,.0f} MiB of store; {days:,} days packed in {packed_s:.0f} s, "
                f"{packed_size - size:+.0f} MiB; {results:,} results kept in {kept_s:.0f} s, "
                f"{_size_mib(made) - packed_size:+.0f} MiB"
            )
            yield made
        finally:
            made.store.close()


def _size_mib(made: Season) -> float:
    with made.store.write() as tx:  # what is in the log only counts once it is in the file
        del tx
    with made.store.read() as tx:
        pages, page = (
            tx.exec_driver_sql(f"PRAGMA {what}").scalar_one() for what in ("page_count", "page_size")
        )
    return float(pages * page / 2**20)


def asked_s(made: Season, question: Question) -> float:
    """How long it takes at best; everything it reads, the journal too, is read anew each time."""
    spans = []
    for _ in range(ROUNDS):
        began_s = time.perf_counter()
        with made.ground() as on:
            question.ours(on)
        spans.append(time.perf_counter() - began_s)
    return min(spans)


def figures(made: Season) -> Iterator[Figure]:
    """One for each question: our time, and how many times as long the straightforward way takes."""
    plain, known = Plain.of(made), {}
    for question in QUESTIONS:
        ours_s = asked_s(made, question)
        found = Figure(question.name, ours_s, "s", most=question.most_s)
        way = question.plainly
        if way is not None:
            if way not in known:
                began_s = time.perf_counter()
                way(plain)
                known[way] = time.perf_counter() - began_s
            took_s = known[way]
            found = replace(
                found,
                name=f"{question.name}, {took_s / ours_s:.1f} times as fast as the {took_s:.1f} s of pandas",
            )
        yield found
    plain.connection.close()


def command_s(made: Season) -> float:
    """The whole command `traywarden today`, interpreter and imports and all; median of three."""
    home = Path(made.store.where).parent
    program = f"from traywarden.cli.main import main; main(['--home', {str(home)!r}, 'today'])"
    spans = []
    for _ in range(ROUNDS):
        began_s = time.perf_counter()
        subprocess.run([sys.executable, "-c", program], stdout=subprocess.DEVNULL, check=True)
        spans.append(time.perf_counter() - began_s)
    return statistics.median(spans)


def run() -> None:
    """Measure and print. The limits are information: a machine may be slower or busier."""
    with warm_season() as made:
        gc.collect()
        gc.freeze()  # as the program does when it has been loaded
        for figure in figures(made):
            print(f"questions: {figure}".replace("MISSED", "not on this machine, now"), flush=True)
        print(f"questions: the whole command “traywarden today”: {command_s(made):.2f} s", flush=True)
