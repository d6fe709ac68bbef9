"""Do these plants still need hardening off? Their days beside those of the open bed."""

from dataclasses import dataclass
from datetime import date, timedelta

from traywarden.domain.crops import Crop
from traywarden.domain.days import day_start_ms, local_date
from traywarden.domain.garden import Place, Tray
from traywarden.domain.hardening import (
    DEMAND_PART,
    HARDENED_D,
    LOOK_BACK_D,
    NIGHT_WITHIN_C,
    Hardening,
    hardening,
    night_rules,
)
from traywarden.domain.hourly import Hourly, hourly_together
from traywarden.domain.place_days import PlaceDays, PlaceHours
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_record import OPEN_KINDS, days_of_hours, place_hours
from traywarden.store import crops as crop_store
from traywarden.store import garden as garden_store


@dataclass(frozen=True, slots=True)
class HardenAsked:
    """A tray or a place; the open place (default the open ground, else the open bench); how many days."""

    subject: str
    against: str = ""
    crop: str = ""
    days: int = LOOK_BACK_D


@dataclass(frozen=True, slots=True)
class HardenAnswer:
    """`crop` whose night rules are asked for; `stood` the places a tray stood in, each with its days."""

    garden: str
    subject: str
    subject_kind: str
    against: str
    crop: str | None
    sentence: str
    nights: tuple[str, ...]
    hardening: Hardening
    stood: tuple[tuple[str, int], ...]
    remarks: tuple[str, ...]


def ask_harden(ground: Ground, asked: HardenAsked) -> HardenAnswer:
    """How far the air around plants is from that of an open bed, and whether they need hardening off.

    Raises UnknownNameError, UsageError (no open place), ShortOfDataError (no air measured on one side).
    """
    if not 1 <= asked.days <= 366:
        raise UsageError(f"A span of {asked.days} days cannot be used; give --days 1 to 366.")
    subject = _subject(ground, asked.subject)
    ground.need_readings()
    last = local_date(ground.now_ms, ground.zone) - timedelta(days=1)
    first = last - timedelta(days=asked.days - 1)
    bed, bed_days = _bed(ground, asked.against, subject, first, last)
    plants, stood = _plants(ground, subject, first, last)
    crop = _crop(ground, asked.crop, subject)
    found = hardening(plants, bed_days, night_rules(crop.key if crop else ""))
    if not found.days_known:
        raise ShortOfDataError(
            f"The air around “{subject.name}” and that of “{bed.name}” were not measured on the same days "
            f"from {first} to {last}; ask further back with --days."
        )
    return HardenAnswer(
        ground.garden.name,
        subject.name,
        "tray" if isinstance(subject, Tray) else "place",
        bed.name,
        crop.name if crop else None,
        _itself(subject.name, bed.name)
        if [name for name, _ in stood] == [bed.name]
        else harden_words(found, subject.name, bed.name, ground.display),
        night_lines(found, bed.name, ground.display),
        found,
        stood,
        _remarks(found, ground.display),
    )


def _itself(subject: str, bed: str) -> str:
    """For a tray that stood in the open place all the time: there is nothing to hold against each other."""
    return f"{subject} stood in {bed} itself all these days: as far as climate goes it is hardened off to it."


def harden_words(found: Hardening, subject: str, bed: str, display: Display) -> str:
    """The verdict in one sentence."""
    told = f"{found.days_outdoors} of its last {found.days_known} days were as outdoors"
    apart = []
    low, swing, demand = found.low_difference_c, found.range_difference_c, found.demand_part
    if low.estimate is not None:
        word = "warmer" if low.estimate > 0 else "colder"
        apart.append(f"nights {display.temp_difference(abs(low.estimate)).lstrip('+')} {word} than {bed}")
    if swing.estimate is not None:
        word = "wider" if swing.estimate > 0 else "smaller"
        size = display.temp_difference(abs(swing.estimate)).lstrip("+")
        apart.append("the same daily range" if size.startswith("0.0 ") else f"daily range {size} {word}")
    if demand.estimate is not None:
        apart.append(f"{demand.estimate * 100:.0f} % of its drying air")
    verdict = {
        "no": f"{subject} needs no more hardening off as far as climate goes",
        "partly": f"{subject} is on the way: {HARDENED_D - found.days_outdoors} more days as outdoors to go",
        "yes": f"{subject} still needs hardening off, one to two weeks of it",
        "cannot tell": f"Cannot tell yet whether {subject} needs hardening off",
    }[found.need]
    return f"{verdict}: {told}; {', '.join(apart)}."


def night_lines(found: Hardening, bed: str, display: Display) -> tuple[str, ...]:
    """What the open bed's nights were to each published rule."""
    lines = []
    for count in found.rules:
        rule = count.rule
        lines.append(
            f"{count.cold_nights} of the last {found.nights} nights in {bed} "
            f"{'was' if count.cold_nights == 1 else 'were'} below "
            f"{display.temp(rule.low_c)}: {rule.words} ({rule.source})"
        )
    return tuple(lines)


def _subject(ground: Ground, name: str) -> Tray | Place:
    try:
        return garden_store.tray_named(ground.tx, name)
    except UnknownNameError as no_tray:
        try:
            return garden_store.place_named(ground.tx, name)
        except UnknownNameError as no_place:
            known = sorted({*no_tray.known, *no_place.known})
            raise UnknownNameError("tray or place", name, known) from None


def _bed(
    ground: Ground, name: str, subject: Tray | Place, first: date, last: date
) -> tuple[Place, PlaceDays]:
    if name:
        wanted = [garden_store.place_named(ground.tx, name)]
    else:
        here = subject.place_id if isinstance(subject, Place) else None
        wanted = [
            place
            for kind in OPEN_KINDS
            for place in ground.places.values()
            if place.kind is kind and not place.covered and place.place_id != here
        ]
        if not wanted:
            raise UsageError(
                "There is no open place to hold it against; name one with --against, or add one with: "
                'traywarden place add "Open bench" --kind "open bench"'
            )
    for place in wanted:
        hours = place_hours(ground, place, "air", first, last)
        if hours.hour_s.size:
            return place, days_of_hours(ground, hours, first, last)
    names = ", ".join(f"“{place.name}”" for place in wanted)
    raise ShortOfDataError(
        f"No air temperature was measured in {names} from {first} to {last}; hang a head there, "
        "or ask further back with --days."
    )


def _plants(
    ground: Ground, subject: Tray | Place, first: date, last: date
) -> tuple[PlaceDays, tuple[tuple[str, int], ...]]:
    """The days of the air around the plants; for a tray, of wherever it stood."""
    if isinstance(subject, Place):
        hours = place_hours(ground, subject, "air", first, last)
        if not hours.hour_s.size:
            raise ShortOfDataError(f"No air temperature was measured in “{subject.name}” in this span.")
        return days_of_hours(ground, hours, first, last), ()
    start_ms = day_start_ms(first, ground.zone)
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone), ground.now_ms + 1)
    parts: list[Hourly] = []
    stood: dict[str, int] = {}
    for stay in ground.facts.tray_places:
        span = stay.overlap(start_ms, end_ms) if stay.subject == subject.tray_id else None
        if span:
            parts += ground.place_hourly(stay.where, "air", *span)
            name = ground.places[stay.where].name
            stood[name] = stood.get(name, 0) + round((span[1] - span[0]) / 86_400_000)
    together = hourly_together(parts)
    if not together.hour_s.size:
        raise ShortOfDataError(
            f"No air temperature was measured where tray “{subject.name}” stood from {first} to {last}; "
            "hang a head there, or ask about the place itself."
        )
    hours = PlaceHours.of(subject.name, together, "air")
    return days_of_hours(ground, hours, first, last), tuple(stood.items())


def _crop(ground: Ground, name: str, subject: Tray | Place) -> Crop | None:
    if name:
        return crop_store.crop_named(name)
    if isinstance(subject, Place):
        return None
    sowing = ground.facts.sowing_of_tray(subject.tray_id, ground.now_ms)
    return ground.crop_of(sowing) if sowing else None


def _remarks(found: Hardening, display: Display) -> tuple[str, ...]:
    remarks = [
        f"a day counts as outdoors when its low was within {display.temp_span(NIGHT_WITHIN_C, 1)} of the "
        f"open place and its air at least {DEMAND_PART:g} times as thirsty; seven of the last fourteen "
        "are the lower end of the published one to two weeks (Univ. of Maryland Extension); the limits "
        "of a day are ours, no source",
        "wind, full sun and less water harden plants too, and none of them is measured",
    ]
    if found.demand_part.estimate is None:
        remarks.append("humidity was not measured on both sides, so nights alone decide")
    return tuple(remarks)
