"""Rain told from waterings."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.waterings import Told, Wetting, WettingKind, classify, together

WETTING = Wetting(100_000.0, 101_200.0, 0.30, 0.42, 1200.0, 300.0, WettingKind.FROM_ABOVE, 0.8, "rose 12 %")
OPEN = {"bench 1", "bench 2", "bench 3"}


def at(minutes: float) -> Wetting:
    return replace(WETTING, onset_s=WETTING.onset_s + minutes * 60, peak_s=WETTING.peak_s + minutes * 60)


def covered(tray: str, at_s: float) -> bool:
    return tray not in OPEN


def test_uncovered_trays_that_rise_together_while_the_frame_stays_dry_were_rained_on() -> None:
    events = {"bench 1": [at(0)], "bench 2": [at(10)], "bench 3": [at(25)], "frame 1": [], "frame 2": []}
    kinds = classify(events, covered)
    assert {t: [w.kind for w in ws] for t, ws in kinds.items() if ws} == {t: [WettingKind.RAIN] for t in OPEN}
    assert kinds["bench 1"][0].reason == "3 of 3 uncovered trays rose together and none of 2 covered"


def test_a_round_with_the_can_is_no_rain() -> None:
    """Covered trays rose in the same half hour: nobody rains into a frame."""
    events = {"bench 1": [at(0)], "bench 2": [at(5)], "bench 3": [at(9)], "frame 1": [at(15)]}
    kinds = classify(events, covered)
    assert all(w.kind is WettingKind.FROM_ABOVE for ws in kinds.values() for w in ws)


def test_one_tray_of_three_that_rises_alone_was_watered() -> None:
    kinds = classify({"bench 1": [at(0)], "bench 2": [], "bench 3": []}, covered)
    assert kinds["bench 1"] == [at(0)]


def test_trays_that_rise_hours_apart_did_not_rise_together() -> None:
    kinds = classify({"bench 1": [at(0)], "bench 2": [at(180)], "bench 3": [at(360)]}, covered)
    assert all(w.kind is WettingKind.FROM_ABOVE for ws in kinds.values() for w in ws)


def test_a_rain_gauge_decides_even_for_a_single_tray() -> None:
    times, rain_mm = [WETTING.onset_s - 600, WETTING.onset_s + 300], [1.2, 0.8]
    [wetting] = classify({"bench 1": [at(0)]}, covered, rain_time_s=times, rain_mm=rain_mm)["bench 1"]
    assert wetting.kind is WettingKind.RAIN
    assert wetting.reason == "the rain gauge recorded 2.0 mm"


def test_a_gauge_that_recorded_none_overrules_trays_that_rise_together() -> None:
    times = [WETTING.onset_s + k * 300.0 for k in range(-40, 40)]
    kinds = classify(
        {"bench 1": [at(0)], "bench 2": [at(5)], "frame 1": []},
        covered,
        rain_time_s=times,
        rain_mm=[0.0] * len(times),
    )
    assert kinds["bench 1"][0].kind is WettingKind.FROM_ABOVE
    assert "recorded none" in kinds["bench 1"][0].reason


def test_a_gauge_that_was_not_reading_then_says_nothing() -> None:
    kinds = classify(
        {"bench 1": [at(0)], "bench 2": [at(5)]}, covered, rain_time_s=[0.0, 300.0], rain_mm=[5.0, 5.0]
    )
    assert kinds["bench 1"][0].reason.startswith("2 of 2 uncovered trays rose together")


def test_the_journal_comes_first() -> None:
    events = {"bench 1": [at(0)], "bench 2": [at(5)], "frame 1": []}
    told = [Told(WETTING.onset_s + 1800, "bench 1", WettingKind.FROM_BELOW)]
    kinds = classify(events, covered, told=told)
    assert kinds["bench 1"][0].kind is WettingKind.FROM_BELOW
    assert kinds["bench 1"][0].reason.startswith("the journal says so")
    assert kinds["bench 2"][0].kind is WettingKind.RAIN


def test_rain_in_the_journal_reaches_uncovered_trays_only() -> None:
    told = [Told(WETTING.onset_s + 6 * 3600, None, WettingKind.RAIN)]
    kinds = classify({"bench 1": [at(0)], "frame 1": [at(0)]}, covered, told=told)
    assert kinds["bench 1"][0].kind is WettingKind.RAIN
    assert kinds["frame 1"][0].kind is WettingKind.FROM_ABOVE


def test_a_watering_told_without_how_keeps_the_kind_its_speed_gave() -> None:
    told = [Told(WETTING.onset_s, "bench 1", WettingKind.UNCLEAR)]
    [wetting] = classify({"bench 1": [at(0)]}, covered, told=told)["bench 1"]
    assert (wetting.kind, wetting.confidence) == (WettingKind.FROM_ABOVE, 0.95)


def test_hourly_readings_widen_what_counts_as_together() -> None:
    hourly = replace(WETTING, spacing_s=3600.0)
    later = replace(hourly, onset_s=hourly.onset_s + 3600)
    assert len(together({"bench 1": [hourly], "bench 2": [later]})) == 1
    assert len(together({"bench 1": [WETTING], "bench 2": [at(60)]})) == 2


@given(
    st.dictionaries(
        st.sampled_from(["bench 1", "bench 2", "bench 3", "frame 1"]),
        st.lists(st.floats(min_value=0, max_value=10_000), max_size=5),
        max_size=4,
    )
)
def test_no_wetting_is_lost_or_doubled_and_a_covered_tray_never_gets_rain(
    minutes: dict[str, list[float]],
) -> None:
    events = {tray: [at(m) for m in sorted(ms)] for tray, ms in minutes.items()}
    kinds = classify(events, covered)
    assert {t: [w.onset_s for w in ws] for t, ws in kinds.items()} == {
        t: [w.onset_s for w in ws] for t, ws in events.items()
    }
    assert all(w.kind is not WettingKind.RAIN for t, ws in kinds.items() if t not in OPEN for w in ws)
