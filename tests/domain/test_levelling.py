"""From which watering on a tray counts as put level: three in a row, and only after it was out of level."""

import pytest

from traywarden.domain.levelling import put_level_from
from traywarden.domain.series import FloatArray


def out(before: FloatArray) -> bool:
    return before.size >= 6


@pytest.mark.parametrize(
    ("even", "first"),
    [
        ([-1.0, 0.0], 0),
        ([-1.0, 0.0, 2.0], 6),
        ([-1.0, -9.0, 0.0, -1.0], 0),
        ([-1.0, -9.0, 0.0, -1.0, 1.0], 8),
        ([-1.0, 0.0, 1.0, -9.0, 0.0, -8.0], 6),
        ([-1.0, 0.0, 1.0, -9.0, -8.0, -9.0], 0),
        ([-1.0, 0.0, 1.0, -9.0, -8.0, -9.0, 0.0, 1.0, 0.0], 6),
        ([-1.0, -10.0, 12.0, -11.0, 0.0], 0),
    ],
    ids=[
        "two may be chance",
        "three are not",
        "one among them begins anew",
        "then three do",
        "now and then one is as before",
        "three as before, and all count",
        "and level once more",
        "wavering",
    ],
)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_three_in_a_row_tell(even: list[float], first: int, side: float) -> None:
    assert put_level_from([side * d for d in (*[-9.0, -8.0, -10.0] * 2, *even)], out) == first


def test_a_tray_that_was_not_out_of_level_was_not_put_level() -> None:
    assert put_level_from([-9.0, -8.0, -9.0, 0.0, 0.0, 0.0], out) == 0
    assert put_level_from([], out) == 0
