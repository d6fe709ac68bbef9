"""A longer delay is proposed only where it tells what nobody acted on from what somebody did."""

from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.worth import FEWEST_TOLD, LONGEST_DELAY_S, STEP_S, Case, longer_delay

HOUR_S = 3600.0
SHORT = Case(False, HOUR_S)
cases = st.lists(st.builds(Case, st.booleans(), st.one_of(st.none(), st.floats(0, 4 * 86_400))), max_size=30)


def test_what_is_answered_more_often_than_not_is_left_alone() -> None:
    assert (
        longer_delay([SHORT] * 4 + [Case(True, 9 * HOUR_S)] * 4, severity="warning", open_delay_s=600) is None
    )


def test_of_few_nothing_is_said() -> None:
    assert longer_delay([SHORT] * (FEWEST_TOLD - 1), severity="warning", open_delay_s=600) is None
    assert longer_delay([SHORT] * FEWEST_TOLD, severity="warning", open_delay_s=600) is not None


def test_where_the_answered_were_as_short_no_delay_tells_them_apart() -> None:
    assert longer_delay([SHORT] * 8 + [Case(True, HOUR_S)], severity="warning", open_delay_s=600) is None


def test_what_still_stands_is_spared_by_no_delay() -> None:
    assert longer_delay([Case(False, None)] * 9, severity="warning", open_delay_s=600) is None


def test_what_does_damage_within_hours_is_not_put_off_for_long() -> None:
    assert longer_delay([Case(False, 5 * HOUR_S)] * 9, severity="urgent", open_delay_s=600) is None
    assert longer_delay([Case(False, 5 * HOUR_S)] * 9, severity="warning", open_delay_s=600) is not None


@given(cases, st.sampled_from(sorted(LONGEST_DELAY_S)), st.floats(0, 86_400))
def test_a_proposal_spares_half_of_the_ignored_at_least_and_none_of_the_answered(
    told: list[Case], severity: str, open_delay_s: float
) -> None:
    found = longer_delay(told, severity=severity, open_delay_s=open_delay_s)
    if found is None:
        return
    gone = [c for c in told if c.lasted_s is not None and c.lasted_s < found.open_delay_s]
    assert not any(c.answered for c in gone)
    assert len(gone) == found.spared
    assert found.spared + found.kept == len(told)
    assert 2 * found.spared >= sum(not c.answered for c in told)
    assert open_delay_s < found.open_delay_s <= LONGEST_DELAY_S[severity]
    assert found.open_delay_s % STEP_S == 0
