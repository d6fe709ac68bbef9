"""Plans asked of a garden: a field's record, and Seattle's years of weather led through it."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.services.field_garden import FRAME, PLACE, FieldGarden, field_garden
from tests.services.questions.conftest import grounded
from tests.shared_data import shared_file
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.links.pictures import draw
from traywarden.services.outside_import import import_weather
from traywarden.services.outside_mapping import guess_outside
from traywarden.services.questions.plan import CropPlan, PlanAsked, SeasonPlan, ask_plan, ask_warm
from traywarden.services.questions.plan_calendar import plan_days
from traywarden.services.questions.plan_picture import plan_picture

pytestmark = pytest.mark.data
OUT = date(2027, 5, 15)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FieldGarden]:
    """March to August of the field, and four years of Seattle as its past weather."""
    made = field_garden(tmp_path_factory.mktemp("field"))
    path = shared_file("weather_seattle_daily.csv")
    mapping = guess_outside(path, zone="America/Los_Angeles").mapping
    import_weather(made.store, path, mapping, "station", made.field.zone)
    yield made
    made.store.close()


def asked(made: FieldGarden, *wanted: PlanAsked, day: str = "08-20") -> SeasonPlan:
    with grounded(made.store, made.at_ms(day, 18)) as ground:
        return ask_plan(ground, list(wanted))


def planned(made: FieldGarden, crop: str, place: str = PLACE, out: date = OUT) -> CropPlan:
    return asked(made, PlanAsked(crop, place, out)).plans[0]


def test_a_crop_is_counted_back_through_the_years_of_the_station(recorded: FieldGarden) -> None:
    plan = planned(recorded, "lettuce")
    assert plan.years == 4
    assert plan.sow is not None
    assert plan.emerge is not None
    assert plan.emergence_d is not None
    # Four to six weeks, of which emergence as published is two to three days.
    low, high = OUT - timedelta(weeks=7), OUT - timedelta(weeks=4)
    assert low <= plan.sow.usual <= high
    assert plan.sow.early <= plan.sow.usual <= plan.sow.late < plan.emerge.late < OUT
    assert 3 <= plan.emergence_d[1] <= 12
    assert "few: a rare year" in plan.counted_by
    assert plan.weeks == (4.0, 6.0)
    assert "Table A-4" in plan.weeks_source
    assert [each.source for each in plan.witnesses] == ["own readings", "station"]
    assert "shares too few days" in plan.witnesses[1].says
    assert "learned from" in plan.relation


def test_cool_soil_takes_longer_than_the_published_weeks_and_is_warned_of(recorded: FieldGarden) -> None:
    plan = planned(recorded, "tomato")
    assert plan.sow is not None
    assert plan.sow.usual < OUT - timedelta(weeks=6)
    assert plan.warm_at_sowing is not None
    assert plan.warm_at_sowing.chance < 0.5
    assert "start it in a warmer place" in plan.advice
    assert "12.8 °C and more (realistic for planting, Texas A&M" in plan.limits
    (spell,) = plan.spells
    assert date(2027, 4, 1) < spell.first < date(2027, 6, 1)


def test_a_place_whose_soil_was_never_measured_gets_the_published_weeks_and_the_reason(
    recorded: FieldGarden,
) -> None:
    plan = planned(recorded, "tomato", FRAME)
    assert plan.years == 0
    assert plan.sow is not None
    assert (OUT - plan.sow.late, OUT - plan.sow.early) == (timedelta(weeks=5), timedelta(weeks=6))
    assert "no soil was ever measured in “Frame”" in plan.reason
    assert plan.counted_by.startswith("the published weeks alone")


def test_a_sowing_day_that_has_passed_is_said_with_when_plants_would_be_ready(
    recorded: FieldGarden,
) -> None:
    (plan,) = asked(recorded, PlanAsked("lettuce", PLACE, date(2026, 8, 1)), day="07-20").plans
    assert "That sowing day passed" in plan.advice
    assert "sown today, plants are ready about" in plan.advice


def test_a_season_is_ordered_by_sowing_day_drawn_and_put_in_a_calendar(
    recorded: FieldGarden, tmp_path: Path
) -> None:
    wanted = [PlanAsked(crop, PLACE, OUT) for crop in ("lettuce", "zinnia", "pansy")]
    wanted.append(PlanAsked("lettuce", PLACE, OUT + timedelta(days=30)))
    season = asked(recorded, *wanted)
    days = [plan.sow.usual for plan in season.plans if plan.sow]
    assert days == sorted(days)
    assert season.sentence.startswith("4 sowings; next is ")
    spec = plan_picture(season)
    labels = spec["vconcat"][0]["encoding"]["y"]["sort"]
    assert sum("15 May" in label for label in labels) == 1
    assert len(spec["vconcat"]) == 1
    picture = tmp_path / "season.svg"
    draw(spec, picture)
    drawn = picture.read_text(encoding="utf-8")
    assert all(label in drawn for label in labels)
    entries = plan_days(season)
    assert len({entry.key for entry in entries}) == len(entries)
    assert sum(entry.summary.startswith("Plant out") for entry in entries) == 4
    assert all(entry.first <= entry.last for entry in entries)
    out = next(entry for entry in entries if entry.summary == "Harden off Zinnia")
    assert (out.first, out.last) == (OUT - timedelta(days=14), OUT - timedelta(days=1))


def test_a_single_plan_shows_the_chance_by_day_below(recorded: FieldGarden, tmp_path: Path) -> None:
    season = asked(recorded, PlanAsked("tomato", PLACE, OUT))
    spec = plan_picture(season)
    assert len(spec["vconcat"]) == 2
    assert len(spec["datasets"]["chances"]) == 365
    draw(spec, tmp_path / "tomato.png")
    assert (tmp_path / "tomato.png").read_bytes().startswith(b"\x89PNG")


def test_warm_days_name_their_limit_their_years_and_their_ends(recorded: FieldGarden) -> None:
    with grounded(recorded.store, recorded.at_ms("08-20", 18)) as ground:
        answer = ask_warm(ground, "tomato", PLACE)
        with pytest.raises(ShortOfDataError, match="no soil was ever measured"):
            ask_warm(ground, "tomato", FRAME)
    assert answer.years == 5  # the station's four, and half of this one
    assert "is likely warm enough for Tomato from" in answer.sentence
    assert "years: few to say so" in answer.sentence
    assert len(answer.chances) == 365
    assert all(row.low <= row.chance + 1e-9 for row in answer.chances)


def test_what_cannot_be_planned_is_refused_in_one_sentence(recorded: FieldGarden) -> None:
    with pytest.raises(ShortOfDataError, match="No transplant age is published here for Carrot"):
        planned(recorded, "carrot")
    with pytest.raises(UnknownNameError):
        planned(recorded, "tomatoe plant")
    with pytest.raises(UsageError, match="at least one crop"):
        asked(recorded)


def test_a_station_that_shares_weeks_with_the_garden_is_shifted_to_it(tmp_path: Path) -> None:
    """The field's own days, told three degrees too warm: the shift takes the three degrees off again."""
    made = field_garden(tmp_path)
    part = made.field.hours("03-01", "08-01")
    air = made.field.air_c[part].reshape(-1, 24)
    rows = [
        f"{date(2026, 3, 1) + timedelta(days=n)},{day.min() + 3:.2f},{day.max() + 3:.2f}"
        for n, day in enumerate(air)
    ]
    path = tmp_path / "near.csv"
    path.write_text("date,tmin (°C),tmax (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    mapping = guess_outside(path, zone=made.field.zone.key).mapping
    import_weather(made.store, path, mapping, "near", made.field.zone)
    with grounded(made.store, made.at_ms("08-20", 18)) as ground:
        answer = ask_warm(ground, "tomato", PLACE)
    made.store.close()
    near = next(each for each in answer.witnesses if each.source == "near")
    assert "shifted by -3." in near.says or "shifted by -2." in near.says
