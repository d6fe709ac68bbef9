"""What “too cold” means for a crop, with and without a published minimum."""

from traywarden.domain.crops import Crop


def test_the_floor_is_the_published_minimum() -> None:
    tomato = Crop("tomato", "Tomato", min_c=10.0, opt_low_c=15.6, source="Harrington")
    assert (tomato.floor_c, tomato.floor_kind, tomato.floor_source) == (
        10.0,
        "published minimum",
        "Harrington",
    )


def test_without_a_minimum_the_floor_is_where_the_recommended_range_begins_and_says_so() -> None:
    flower = Crop("cosmos", "Cosmos", opt_low_c=21.1, opt_high_c=21.1, source="Iowa State")
    assert flower.min_c is None
    assert (flower.floor_c, flower.floor_kind) == (21.1, "recommended range begins at")


def test_a_crop_of_which_nothing_is_published_has_no_floor() -> None:
    unknown = Crop("weed", "Weed", source="hearsay")
    assert (unknown.floor_c, unknown.floor_kind, unknown.floor_source) == (None, "", "")
    assert Crop("ice", "Ice plant", min_c=0.0, opt_low_c=10.0).floor_c == 0.0
