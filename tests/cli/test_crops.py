"""The crop table by command; it needs no garden."""

from tests.cli.conftest import CommandLine


def test_a_crop_is_shown_with_the_source_of_each_value(run: CommandLine) -> None:
    words = run.ok("crop", "show", "lettuces")
    for part in (
        "1.7 °C",
        "29.4 °C",
        "Alabama Cooperative Extension",
        "12 % at 86 °F",
        "none come up",
        "https://",
    ):
        assert part in words


def test_fahrenheit_shows_the_published_whole_degrees(run: CommandLine) -> None:
    run.home.mkdir()
    (run.home / "settings.toml").write_text('[display]\ntemperature = "F"\n', encoding="utf-8")
    words = run.ok("crop", "show", "tomato")
    assert "50.0 °F" in words
    assert "60.0 °F to 85.0 °F" in words


def test_an_unchecked_table_says_so_and_a_flower_has_no_minimum(run: CommandLine) -> None:
    assert "(not verified)" in run.ok("crop", "show", "pumpkin")
    words = run.ok("crop", "show", "ageratum")
    assert "recommended" in words
    assert "minimum  " not in words
    assert "7 to 10" in words


def test_the_list_can_be_kept_to_one_kind(run: CommandLine) -> None:
    assert {crop["kind"] for crop in run.json("crop", "list", "--kind", "flowers")} == {"flower"}
    assert len(run.json("crop", "list")) > 55
    assert "Tomato" in run.ok("crop", "list")
    assert "did you mean “flower”" in run.refused("crop", "list", "--kind", "flwer")


def test_an_unknown_crop_says_what_is_near(run: CommandLine) -> None:
    assert "did you mean “Eggplant”?" in run.refused("crop", "show", "egplant")
    assert "see what there is with: traywarden crop list." in run.refused("crop", "show", "qqqq")
