"""`notices set` and `unset` on a real home: a number for all, or for one crop, mix or stage."""

import pytest

from tests.cli.conftest import CommandLine
from tests.services.watched_garden import WatchedGarden
from traywarden.settings import load


@pytest.fixture
def garden(run: CommandLine) -> CommandLine:
    with run.store() as store:
        WatchedGarden(store)
    return run


def test_a_delay_for_one_crop_is_set_shown_by_explain_and_taken_back(garden: CommandLine) -> None:
    said = garden.ok("notices", "set", "dry.open_delay_s", "7200", "--crop", "Tomatoes")
    assert "dry.crop.tomato.open_delay_s is 7200 s" in said
    assert load(garden.home, {}).overrides == {"dry.crop.tomato.open_delay_s": 7200.0}
    used = {each["key"]: each for each in garden.json("notices", "explain", "dry", "A")["settings"]}
    assert used["dry.crop.tomato.open_delay_s"]["value"] == 7200.0
    left = garden.json("notices", "unset", "dry.open_delay_s", "--crop", "tomato")
    assert left["value"] == 1800.0
    assert load(garden.home, {}).overrides == {}


def test_a_level_for_all_goes_back_to_what_is_delivered(garden: CommandLine) -> None:
    assert garden.json("notices", "set", "frost.least_chance", "0.5")["value"] == 0.5
    assert garden.json("notices", "unset", "frost.least_chance")["value"] == 0.3


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("dry.open_delay_s", "soon"), "is not a number"),
        (("dry.open_delay_s", "7200", "--crop", "tomatto"), "did you mean “Tomato”"),
        (("dry.open_delay_s", "7200", "--stage", "young"), "There is no stage called “young”"),
        (("dry.crop.tomatto.open_delay_s", "7200"), "did you mean “Tomato”"),
        (("dry.stage.seedlng.open_delay_s", "7200"), "did you mean “seedling”"),
        (("dry.opn_delay_s", "7200"), "did you mean “dry.open_delay_s”"),
        (("quiet.open_delay_s", "7200", "--mix", "peat"), "holds for all"),
    ],
)
def test_what_cannot_be_given_is_refused(garden: CommandLine, words: tuple[str, ...], says: str) -> None:
    answer = garden("notices", "set", *words)
    assert answer.code in (2, 3)
    assert says in answer.err
    assert not (garden.home / "settings.toml").exists()


def test_what_is_given_for_a_name_that_nothing_has_can_be_taken_back(garden: CommandLine) -> None:
    (garden.home / "settings.toml").write_text("[dry.crop.tomatto]\nopen_delay_s = 60\n")
    garden.ok("notices", "unset", "dry.crop.tomatto.open_delay_s")
    assert "tomatto" not in (garden.home / "settings.toml").read_text()
