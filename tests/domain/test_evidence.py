"""Evidence: what was known of a tray at each measured instant, and why something was not."""

import numpy as np

from traywarden.domain.evidence import HeadSample, head_samples
from traywarden.domain.flags import Flag
from traywarden.domain.series import SERIES_COLUMNS, HeadSeries

NAN = float("nan")
MIN_MS = 60_000


def head(
    label: str,
    minutes: list[float],
    moisture: list[float],
    soil_c: list[float] | None = None,
    flags: list[int] | None = None,
) -> HeadSeries:
    empty = np.full(len(minutes), NAN)
    none = np.zeros(len(minutes), np.int64)
    return HeadSeries(
        label,
        np.array(minutes, float) * 60,
        empty if soil_c is None else np.array(soil_c),
        np.array(moisture),
        True,
        empty,
        empty,
        empty,
        empty,
        dict.fromkeys(SERIES_COLUMNS, none)
        | {"moisture_m3_m3": none if flags is None else np.array(flags, np.int64)},
    )


def moistures(samples: list[tuple[int, tuple[HeadSample, ...]]]) -> list[tuple[int, list[float | None]]]:
    return [(at // MIN_MS, [h.moisture_m3_m3 for h in heads]) for at, heads in samples]


def test_every_instant_any_head_measured_is_looked_at_with_the_others_latest_value() -> None:
    heads = [head("a/1", [0, 10], [0.3, 0.2]), head("b/1", [5], [0.4])]
    assert moistures(head_samples(heads, -1, 60 * MIN_MS)) == [
        (0, [0.3, None]),
        (5, [0.3, 0.4]),
        (10, [0.2, 0.4]),
    ]


def test_a_value_older_than_the_limit_is_no_longer_known() -> None:
    heads = [head("a/1", [0], [0.3]), head("b/1", [60, 61], [0.4, 0.4])]
    samples = head_samples(heads, -1, 60 * MIN_MS)
    assert moistures(samples) == [(0, [0.3, None]), (60, [0.3, 0.4]), (61, [None, 0.4])]
    assert samples[-1][1][0].moisture_trouble == "nothing sent lately"


def test_a_left_out_value_is_passed_over_and_named_when_nothing_better_is_known() -> None:
    frozen = int(Flag.FROZEN)
    heads = [head("a/1", [0, 10, 200], [0.3, 0.1, 0.1], flags=[0, frozen, frozen])]
    samples = head_samples(heads, -1, 60 * MIN_MS)
    assert moistures(samples) == [(0, [0.3]), (10, [0.3]), (200, [None])]
    assert samples[-1][1][0].moisture_trouble == "frozen"


def test_what_was_not_measured_is_none_and_says_so() -> None:
    ((_, (sample,)),) = head_samples([head("a/1", [0], [NAN], [12.0])], -1, MIN_MS)
    assert (sample.moisture_m3_m3, sample.moisture_trouble) == (None, "not measured")
    assert (sample.soil_temp_c, sample.soil_temp_trouble) == (12.0, "")


def test_only_instants_after_the_given_one_and_those_asked_for() -> None:
    samples = head_samples(
        [head("a/1", [0, 10, 20], [0.1, 0.2, 0.3])], 10 * MIN_MS, 60 * MIN_MS, [15 * MIN_MS]
    )
    assert moistures(samples) == [(15, [0.2]), (20, [0.3])]


def test_a_tray_without_heads_still_has_the_instants_asked_for() -> None:
    assert head_samples([], 0, MIN_MS, [7]) == [(7, ())]
    assert head_samples([], 0, MIN_MS) == []
