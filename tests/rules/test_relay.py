"""Event names are read as people write them, and no other race is taken for a relay."""

import pytest

from app.rules.relay import Relay, relay_named


@pytest.mark.parametrize(
    ("name", "relay"),
    [
        ("Women 4x100 m", Relay.FOUR_BY_100),
        ("4x100m", Relay.FOUR_BY_100),
        ("4 × 400 mixed", Relay.FOUR_BY_400),
        ("4 X 400M RELAY", Relay.FOUR_BY_400),
        ("Boys 4*200", Relay.FOUR_BY_200),
        ("Men 4x800 Metres", Relay.FOUR_BY_800),
        ("Medley relay 100-200-300-400", Relay.MEDLEY),
        ("100 – 200 – 300 – 400", Relay.MEDLEY),
        ("U18 medley relay", Relay.MEDLEY),
        ("U18 4x100, heat 2", Relay.FOUR_BY_100),
    ],
)
def test_a_relay_is_recognised_by_its_name(name: str, relay: Relay) -> None:
    assert relay_named(name) is relay


@pytest.mark.parametrize(
    "name",
    [
        "4x1000",
        "14x100",
        "4x1500 m",
        "4x75",
        "100 m",
        "400 m hurdles",
        "",
        "Sprint medley",
        "Distance medley relay",
        "Medley 100-100-200-400",
        "Swedish medley 400-300-200-100",
    ],
)
def test_no_other_race_is_taken_for_a_relay_with_known_zones(name: str) -> None:
    assert relay_named(name) is None


def test_every_relay_has_four_legs_and_is_named_by_its_own_value() -> None:
    for relay in Relay:
        assert (len(relay.legs), relay.take_overs) == (4, 3)
        assert relay_named(relay) is relay


def test_legs_add_up_to_the_length_of_the_race() -> None:
    # World Athletics TR24.1, from memory
    lengths = {relay.value: sum(relay.legs) for relay in Relay}
    assert lengths == {"4x100": 400, "4x200": 800, "4x400": 1600, "4x800": 3200, "medley": 1000}
