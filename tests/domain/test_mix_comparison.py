"""Two mixes under equal demand: the ratio, an interval that holds, and what it would take to know."""

import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM

from traywarden.domain.mix_comparison import MixRate, rate_ratio


def made(
    seed: int,
    *,
    ratio: float = 1.6,
    trays: tuple[int, int] = (4, 4),
    each: int = 8,
    between: float = 0.12,
    within: float = 0.25,
    places: tuple[float, ...] = (0.0, 0.5),
    elasticity: float = 0.0,
) -> list[MixRate]:
    """Stretches of mixes a and b: ln rate = mix + place + tray + elasticity·ln demand + chance."""
    rng = np.random.default_rng(seed)
    found = []
    for mix, count, base in (("a", trays[0], np.log(ratio)), ("b", trays[1], 0.0)):
        for tray in range(count):
            at, own = tray % len(places), rng.normal(0, between)
            for _ in range(each):
                asked = float(np.exp(rng.normal(0, 0.5)))
                log_rate = base + places[at] + own + elasticity * np.log(asked) + rng.normal(0, within)
                found.append(
                    MixRate(mix, f"{mix}{tray}", f"place {at}", float(np.exp(log_rate)), asked, 70.0)
                )
    return found


def test_the_ratio_and_its_interval_are_close_to_a_mixed_model_of_statsmodels() -> None:
    """MixedLM (REML) with a random intercept for each tray; its interval with Student's t for the same
    degrees of freedom. Ours is the wider of two, so it may be half as wide again; the ratio agrees to 5 %."""
    for seed in range(6):
        rates = made(seed, trays=(5, 5), each=10)
        found = rate_ratio(rates, "a", "b")
        table = pd.DataFrame(
            {
                "y": np.log([r.rate for r in rates]),
                "a": [float(r.mix == "a") for r in rates],
                "place": [float(r.place == "place 1") for r in rates],
                "demand": np.log([r.demand or 1.0 for r in rates]),
                "tray": [str(r.tray) for r in rates],
            }
        )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = MixedLM(
                table["y"],
                np.column_stack([np.ones(len(table)), table[["a", "place", "demand"]]]),
                groups=table["tray"],
            ).fit()
        theirs, error = float(model.fe_params.iloc[1]), float(model.bse_fe.iloc[1])
        half = float(stats.t.ppf(0.975, 10 - 3)) * error
        assert found.ratio == pytest.approx(np.exp(theirs), rel=0.05)
        assert found.low is not None
        assert found.high is not None
        assert 0.8 < np.log(found.high / found.low) / (2 * half) < 1.5


@pytest.mark.parametrize("trays", [(2, 2), (3, 3), (5, 4), (8, 8)])
def test_the_interval_holds_the_truth_as_often_as_it_says(trays: tuple[int, int]) -> None:
    """In 120 made-up gardens each; 90 % is two and a half standard errors below 95 %."""
    held = []
    for seed in range(120):
        found = rate_ratio(made(seed, trays=trays, ratio=1.4), "a", "b", runs=400)
        assert found.low is not None
        assert found.high is not None
        held.append(found.low <= 1.4 <= found.high)
    assert np.mean(held) >= 0.9


def test_a_windy_bench_does_not_blame_the_mix_that_stands_there_more_often() -> None:
    """Mixes alike; a has four trays in the wind and two out of it, b the other way round."""
    rng = np.random.default_rng(2)
    rates = []
    for mix, windy in (("a", 4), ("b", 2)):
        for tray in range(6):
            wind = tray < windy
            rates += [
                MixRate(
                    mix, f"{mix}{tray}", "wind" if wind else "still", float(np.exp(0.8 * wind + e)), 1.0, 70.0
                )
                for e in rng.normal(0, 0.15, 8)
            ]
    found = rate_ratio(rates, "a", "b")
    assert "place" in found.allowed_for
    assert found.ratio == pytest.approx(1.0, abs=0.08)
    without = [MixRate(r.mix, r.tray, "anywhere", r.rate, r.demand, r.mean_pct) for r in rates]
    assert (rate_ratio(without, "a", "b").ratio or 0) > 1.2


def test_mixes_that_never_stood_together_cannot_be_told_apart_from_their_places() -> None:
    apart = [MixRate(r.mix, r.tray, "bench" if r.mix == "a" else "frame", r.rate, r.demand) for r in made(1)]
    found = rate_ratio(apart, "a", "b")
    assert found.low is None
    assert "never stood in the same place" in found.reason
    assert "side by side" in found.reason


def test_a_hot_spell_that_only_one_mix_saw_is_allowed_for() -> None:
    """The rate per demand falls with demand (elasticity −0.4), and a stood in demand twice as high."""
    rng = np.random.default_rng(5)
    rates = []
    for mix, asked in (("a", 1.6), ("b", 0.8)):
        for tray in range(5):
            for _ in range(12):
                demand = float(asked * np.exp(rng.normal(0, 0.4)))
                rate = float(np.exp(-0.4 * np.log(demand) + rng.normal(0, 0.1)))
                rates.append(MixRate(mix, f"{mix}{tray}", "bench", rate, demand, 70.0))
    found = rate_ratio(rates, "a", "b")
    assert "demand" in found.allowed_for
    assert found.ratio == pytest.approx(1.0, abs=0.1)


def test_turning_the_question_round_turns_the_ratio_round() -> None:
    one, other = rate_ratio(made(3), "a", "b"), rate_ratio(made(3), "b", "a")
    assert one.ratio is not None
    assert one.low is not None
    assert other.ratio == pytest.approx(1 / one.ratio)
    assert other.high == pytest.approx(1 / one.low, rel=0.05)


@pytest.mark.parametrize(
    ("rates", "words"),
    [
        ([], "no stretch of a"),
        (made(1, trays=(1, 4)), "a was in one tray alone"),
        (made(1, trays=(2, 2), each=1), "2 stretches of a are too few"),
        (
            [
                MixRate(mix, mix + place, place, 1.0 + n / 9)
                for n in range(3)
                for mix, place in (("a", "x"), ("a", "y"), ("b", "x"), ("b", "z"))
            ],
            "4 trays in 3 places are too few",
        ),
    ],
)
def test_too_little_is_said_to_be_and_why(rates: list[MixRate], words: str) -> None:
    found = rate_ratio(rates, "a", "b")
    assert words in found.reason
    assert found.low is None
    assert not found.told


def test_alike_means_that_any_difference_is_too_small_to_matter() -> None:
    alike = rate_ratio(made(4, ratio=1.02, trays=(8, 8), each=20, between=0.03, within=0.1), "a", "b")
    assert alike.alike()
    assert not alike.alike(1.01)
    assert (alike.more_waterings, alike.more_trays) == (None, None)
    assert not rate_ratio(made(4, ratio=1.6), "a", "b").alike()


def test_so_many_more_waterings_as_were_foretold_do_tell_the_mixes_apart() -> None:
    """Gardens in which it could not be told yet, given as many stretches more: about half ought to tell then,
    as the interval just reaches one; at least a third do. Trays differ little, so that waterings can help."""
    told, count = 0, 0
    for seed in range(60):
        how = {"ratio": 1.45, "trays": (4, 4), "between": 0.05, "within": 0.35, "places": (0.0,)}
        few = rate_ratio(made(seed, each=2, **how), "a", "b", runs=300)  # type: ignore[arg-type]
        if few.more_waterings is None:
            continue
        count += 1
        each = 2 + int(np.ceil(few.more_waterings / 4))
        told += rate_ratio(made(seed, each=each, **how), "a", "b", runs=300).told  # type: ignore[arg-type]
    assert count >= 15
    assert told / count > 1 / 3


def test_where_trays_differ_too_much_more_trays_are_asked_for() -> None:
    found = rate_ratio(made(7, ratio=1.2, trays=(3, 3), each=40, between=0.35, within=0.05), "a", "b")
    assert not found.told
    assert found.more_waterings is None
    assert found.more_trays is None or found.more_trays >= 1
    assert found.tray_log_sd is not None
    assert found.stretch_log_sd is not None
    assert found.tray_log_sd > 3 * found.stretch_log_sd


def test_one_mix_against_itself_or_a_rate_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="with itself"):
        rate_ratio(made(1), "a", "a")
    with pytest.raises(ValueError, match="above 0"):
        rate_ratio([MixRate("a", "t", "p", 0.0)], "a", "b")


def test_rates_of_both_are_told_for_the_same_places() -> None:
    """b stood mostly where all dry e^0.5 times as fast; told alike, the rates are apart by the ratio."""
    rates = [r for r in made(3, within=0.02, between=0.0) if r.mix == "a" or r.place == "place 1"]
    rates += [r for r in made(4, within=0.02, between=0.0) if r.mix == "b" and r.tray == "b0"]
    found = rate_ratio(rates, "a", "b")
    assert found.ratio == pytest.approx(1.6, rel=0.03)
    assert found.a.rate is not None
    assert found.b.rate is not None
    assert found.a.rate / found.b.rate == pytest.approx(found.ratio)
    assert min(r.rate for r in rates) < found.b.rate < max(r.rate for r in rates if r.mix == "b")
