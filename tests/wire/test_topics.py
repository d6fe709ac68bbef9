"""Topics are taken apart and put together, and hostile ones refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.errors import WireError
from traywarden.wire import topics

names = st.from_regex(topics.NAME_RE, fullmatch=True)


@given(names, names)
def test_a_topic_put_together_is_taken_apart_into_the_same_names(garden: str, probe: str) -> None:
    made = {
        "readings": topics.readings_topic(garden, probe),
        "state": topics.state_topic(garden, probe),
        "receipt": topics.receipt_topic(garden, probe),
        "settings": topics.settings_topic(garden, probe),
    }
    assert set(made) == set(topics.KINDS)
    for kind, topic in made.items():
        assert topics.parse(topic) == (garden, probe, kind)


def test_the_topics_are_the_documented_ones() -> None:
    assert topics.readings_topic("hill-garden", "0011223344556677") == (
        "traywarden/v1/hill-garden/0011223344556677/readings"
    )
    assert topics.every_probe("hill-garden", "state") == "traywarden/v1/hill-garden/+/state"


@pytest.mark.parametrize(
    "topic",
    [
        "",
        "/",
        "traywarden/v1/g/p",
        "traywarden/v1/g/p/readings/",
        "traywarden/v1/g/p/other",
        "traywarden/v2/g/p/readings",
        "traywarden/v1//p/readings",
        "traywarden/v1/g/../readings",
        "traywarden/v1/g/+/readings",
        "traywarden/v1/g/#/readings",
        "traywarden/v1/g/P/readings",
        "traywarden/v1/g/p\n/readings",
        "traywarden/v1/g/p\x00/readings",
        "traywarden/v1/g/'; drop table reading;--/readings",
        "traywarden/v1/g/" + "p" * 64 + "/readings",
        "traywarden/v1/" + "g/" * 10_000 + "readings",
        "$SYS/broker/uptime",
    ],
)
def test_a_hostile_topic_is_refused_in_one_short_sentence(topic: str) -> None:
    with pytest.raises(WireError) as caught:
        topics.parse(topic)
    assert len(str(caught.value)) < 300
    assert "\n" not in str(caught.value)


@given(st.text())
def test_any_text_is_a_topic_or_a_wire_error(topic: str) -> None:
    with pytest.raises(WireError):
        topics.parse(topic)
    with pytest.raises(WireError):
        topics.parse(f"traywarden/v1/g/{topic}/-")


@pytest.mark.parametrize("name", ["", "A", "-a", "a b", "a/b", "a" * 64, "ä", "a\n"])
def test_a_name_that_cannot_stand_in_a_topic_is_refused(name: str) -> None:
    with pytest.raises(WireError, match="cannot stand in a topic"):
        topics.readings_topic("garden", name)
