"""The power budget against published budgets, and the goal it has to meet."""

import pytest
from hardware.power import SIGNALS, Use

from hardware import pages, power
from probe import settings


def test_a_published_budget_is_reproduced() -> None:
    """../shared/reference/sensors.md, “Budget example”: 96 cycles of 108.6 mC and 10 µA between them."""
    mah = power.daily_mah([(96, 108.6)], 10)
    assert mah == pytest.approx(3.14, abs=0.005)  # to the digits printed
    assert 2000 / mah == pytest.approx(637, abs=1)


def test_sending_costs_what_was_measured_less_the_boards_own_draw() -> None:
    """341.3 mC in 2.928 s (DHCP, one HTTP POST), on a board that idles at 15 mA; same reference."""
    assert power.send_mc(SIGNALS[0]) == pytest.approx(341.3 - 2.928 * 15, rel=1e-9)


def test_the_chips_own_sleep_is_a_small_part_of_sleep() -> None:
    assert power.FIGURES["chip_ua"].value < power.sleep_ua() / 5
    assert power.sleep_ua() < 100


def test_the_default_settings_last_270_days_on_one_cell_where_the_signal_is_strong() -> None:
    assert Use().signal.name == "strong"
    assert power.life_days(Use()) >= 270
    assert power.life_days(Use(heads=4)) >= 270


@pytest.mark.parametrize("heads", [1, 4])
def test_the_page_says_the_days_for_every_signal_before_anything_else(heads: int) -> None:
    top = pages.power_page().split("## ", 1)[0]
    for signal in SIGNALS:
        days = power.life_days(Use(heads=heads, signal=signal))
        (row,) = [line for line in top.splitlines() if line.startswith(f"| {signal.name} ")]
        assert f"{days:.0f}" in row
    assert "With a weak one it does not hold" in top


def test_the_default_use_is_the_firmwares_default_settings() -> None:
    default = {name: value for name, _, _, _, value, _ in settings.FIELDS}
    assert Use().read_every_s == default["read_s"]
    assert Use().send_every_s == default["send_s"]


def test_the_cell_is_the_one_promised() -> None:
    assert power.CELL.rated_mah == 3000
    assert power.CELL.usable == 0.8
    assert power.self_discharge_mah(power.CELL) > 0


@pytest.mark.parametrize(
    ("worse", "better"),
    [
        (Use(read_every_s=300), Use()),
        (Use(), Use(send_every_s=3 * 3600)),
        (Use(signal=SIGNALS[2]), Use(signal=SIGNALS[1])),
        (Use(signal=SIGNALS[1]), Use()),
        (Use(heads=4), Use()),
        (Use(urgent_a_day=10), Use()),
        (Use(power_light=True), Use()),
    ],
)
def test_more_work_costs_days(worse: Use, better: Use) -> None:
    assert power.life_days(worse) < power.life_days(better)


def test_sending_cannot_be_more_often_than_reading() -> None:
    assert power.use_mah(Use(send_every_s=60)) == power.use_mah(Use(send_every_s=600))


def test_every_figure_says_where_it_is_from() -> None:
    for name, figure in power.FIGURES.items():
        assert figure.kind in {
            "measured",
            "firmware",
            "data sheet",
            "secondary",
            "from memory",
            "assumption",
        }, name
        assert figure.source, name
        assert figure.value > 0, name
