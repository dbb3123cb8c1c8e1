"""Who may come in: names, origins, networks, PIN, sessions. Exact sentences."""

import ipaddress

import pytest
from starlette.datastructures import Headers

from gatekeeper.web import door
from gatekeeper.web.door import DoorSettings, address
from gatekeeper.web.door_pins import PinLock
from gatekeeper.web.door_rights import Right

SETTINGS = DoorSettings("1234", frozenset({"shop.local"}), frozenset({"203.0.113.9"}))
REACHED = address("192.168.1.5")


@pytest.mark.parametrize(
    "host",
    [
        "shop.local",
        "SHOP.local:8080",
        "shop.local.",
        "localhost",
        "localhost:1",
        "192.168.1.5",
        "192.168.1.5:8080",
        "203.0.113.9:80",
    ],
)
def test_its_own_names_and_the_address_that_was_reached_are_let_in(host: str) -> None:
    assert door.refuse_host(Headers({"host": host}), REACHED, SETTINGS) is None


@pytest.mark.parametrize(
    "host",
    [
        "",
        "evil.example",
        "shop.local.evil.example",
        "shop.local@evil.example",
        "user@shop.local",
        "192.168.1.6",
        "shop.local/x",
        "shop.local:port",
        "[::1",
        "2130706433",
    ],
)
def test_any_other_name_is_refused(host: str) -> None:
    assert door.refuse_host(Headers({"host": host}), REACHED, SETTINGS) is door.WRONG_HOST


@pytest.mark.parametrize("host", ["[::1]", "[::1]:8080", "[0:0:0:0:0:0:0:1]:8080"])
def test_an_ipv6_literal_is_let_in_when_it_is_the_address_that_was_reached(host: str) -> None:
    assert door.refuse_host(Headers({"host": host}), address("::1"), SETTINGS) is None
    assert door.refuse_host(Headers({"host": host}), address("fd00::5"), SETTINGS) is door.WRONG_HOST


def test_ipv4_inside_ipv6_is_the_ipv4_address() -> None:
    assert door.refuse_host(Headers({"host": "192.168.1.5:80"}), address("::ffff:192.168.1.5"), SETTINGS) is None


GOOD_POST = {
    "host": "shop.local:80",
    "origin": "http://shop.local:80",
    "content-length": "3",
    "content-type": "application/x-www-form-urlencoded",
}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({}, None),
        ({"content-type": "application/x-www-form-urlencoded; charset=utf-8"}, None),
        ({"content-type": "", "content-length": "0"}, None),
        ({"content-length": "4097"}, door.TOO_LARGE),
        ({"content-length": "-1"}, door.NO_LENGTH),
        ({"content-length": "²"}, door.NO_LENGTH),
        ({"content-length": "9" * 5000}, door.NO_LENGTH),
        ({"transfer-encoding": "chunked"}, door.NO_CHUNKS),
        ({"content-type": "text/plain"}, door.WRONG_TYPE),
        ({"content-type": ""}, door.WRONG_TYPE),
        ({"content-type": "application/json"}, door.WRONG_TYPE),
    ],
)
def test_a_post_comes_from_the_page_itself_and_is_a_small_form(
    change: dict[str, str], why: door.Refusal | None
) -> None:
    assert door.refuse_post(Headers(GOOD_POST | change)) is why


@pytest.mark.parametrize(("missing", "why"), [("origin", door.WRONG_ORIGIN), ("content-length", door.NO_LENGTH)])
def test_a_post_without_its_headers_is_refused(missing: str, why: door.Refusal) -> None:
    assert door.refuse_post(Headers({k: v for k, v in GOOD_POST.items() if k != missing})) is why


@pytest.mark.parametrize(
    ("origin", "is_own", "is_own_encrypted"),
    [
        ("http://shop.local:80", True, False),
        ("HTTP://SHOP.local:80", True, False),
        ("https://shop.local:80", True, True),
        ("null", False, False),
        ("", False, False),
        ("http://evil.example", False, False),
        ("http://shop.local:81", False, False),
        ("http://shop.local:80.evil.example", False, False),
        ("ftp://shop.local:80", False, False),
        ("http://[shop.local:80", False, False),
    ],
)
def test_whatever_comes_from_another_page_is_refused_reading_too(
    origin: str, is_own: bool, is_own_encrypted: bool
) -> None:
    headers = Headers({"host": "shop.local:80", "origin": origin})
    assert door.refuse_origin(headers, SETTINGS) is (None if is_own else door.WRONG_ORIGIN)
    encrypted = DoorSettings("1234", encrypted=True)
    assert door.refuse_origin(headers, encrypted) is (None if is_own_encrypted else door.WRONG_ORIGIN)
    assert door.refuse_origin(Headers({"host": "shop.local:80"}), SETTINGS) is None


@pytest.mark.parametrize(
    ("client", "reached", "inside"),
    [
        ("127.0.0.1", "127.0.0.1", True),
        ("::1", "::1", True),
        ("192.168.1.20", "192.168.1.5", True),
        ("10.1.2.3", "10.0.0.1", True),
        ("172.16.0.9", "172.16.0.1", True),
        ("169.254.3.4", "169.254.1.1", True),
        ("fe80::1%eth0", "fe80::2", True),
        ("fd12::7", "fd12::5", True),
        ("2a02:8071:1:2::7", "2a02:8071:1:2::5", True),
        ("2a02:8071:1:3::7", "2a02:8071:1:2::5", False),
        ("::ffff:192.168.1.20", "::ffff:192.168.1.5", True),
        ("8.8.8.8", "192.168.1.5", False),
        ("172.32.0.1", "192.168.1.5", False),
        ("testclient", "192.168.1.5", False),
    ],
)
def test_what_counts_as_the_shops_own_network(client: str, reached: str, inside: bool) -> None:
    assert door.in_own_network(address(client), address(reached)) is inside


def test_a_shop_on_public_addresses_is_a_shop_too() -> None:
    subnets = (ipaddress.ip_network("141.30.5.0/24"),)
    assert door.in_own_network(address("141.30.5.77"), address("141.30.5.9"), lambda: subnets) is True
    assert door.in_own_network(address("141.30.6.77"), address("141.30.5.9"), lambda: subnets) is False
    assert door.in_own_network(None, address("141.30.5.9"), lambda: subnets) is False


@pytest.mark.parametrize("header", ["forwarded", "x-forwarded-for", "x-real-ip", "via"])
def test_a_proxy_is_noticed(header: str) -> None:
    assert door.through_proxy(Headers({header: "192.168.1.20"})) is True
    assert door.through_proxy(Headers({"host": "shop.local"})) is False


# ---------------------------------------------------------------- PIN


def test_the_wait_after_wrong_pins_doubles_and_no_pin_is_looked_at_meanwhile() -> None:
    lock = PinLock("481516")
    client = address("192.168.1.23")
    for _ in range(3):
        assert lock.look("0000", client, 100.0) is door.WRONG_PIN
    assert lock.look("481516", client, 100.0) == door.too_many(2.0)
    assert lock.look("481516", client, 101.9) == door.too_many(0.1)
    assert lock.look("0000", client, 102.0) is door.WRONG_PIN
    assert lock.look("0000", client, 105.0) == door.too_many(1.0)
    assert lock.look("0000", client, 106.0) is door.WRONG_PIN
    assert lock.look("481516", client, 113.9) == door.too_many(0.1)
    assert lock.look("481516", client, 114.0) is Right.SETTINGS
    for _ in range(3):  # the right PIN has wiped out what was wrong before
        assert lock.look("0000", client, 114.0) is door.WRONG_PIN
    assert lock.look("481516", client, 114.0) == door.too_many(2.0)


def test_the_longest_wait_of_one_address_is_a_quarter_of_an_hour() -> None:
    lock = PinLock("481516")
    client = address("192.168.1.23")
    now_s = 0.0
    for _ in range(19):
        assert lock.look("0000", client, now_s) is door.WRONG_PIN
        now_s += 900.0
    assert lock.look("481516", client, now_s - 1.0) == door.too_many(1.0)


def test_many_addresses_together_wait_too_but_no_longer_than_a_minute() -> None:
    lock = PinLock("481516")
    for number in range(20):
        assert lock.look("0000", address(f"192.168.1.{number + 1}"), 5.0) is door.WRONG_PIN
    fresh = address("192.168.2.1")
    assert lock.look("481516", fresh, 5.0) == door.too_many(2.0)
    assert lock.look("481516", fresh, 7.0) is Right.SETTINGS


def test_a_whole_ipv6_network_counts_as_one_address() -> None:
    lock = PinLock("481516")
    for number in range(3):
        assert lock.look("0000", address(f"fd00:1::{number + 1}"), 5.0) is door.WRONG_PIN
    assert lock.look("481516", address("fd00:1::99"), 5.0) == door.too_many(2.0)
    assert lock.look("481516", address("fd00:1:0:1::99"), 5.0) is Right.SETTINGS


def test_wrong_tries_are_forgotten_after_an_hour() -> None:
    lock = PinLock("481516")
    client = address("192.168.1.23")
    for _ in range(3):
        lock.look("0000", client, 100.0)
    assert lock.look("0000", client, 3700.5) is door.WRONG_PIN
    assert lock.look("481516", client, 3700.5) is Right.SETTINGS


def test_who_has_to_wait_still_does_after_a_restart() -> None:
    lock, client = PinLock("481516"), address("192.168.1.23")
    for _ in range(2):
        lock.look("0000", client, 100.0)
    assert lock.to_keep(100.0) is None  # nobody waits yet
    lock.look("0000", client, 100.0)
    kept = lock.to_keep(100.0)
    assert kept == '{"form":1,"all":3,"by":{"192.168.1.23":3}}'
    again = PinLock("481516", kept=kept, now_s=7.0)
    assert again.look("481516", client, 7.0) == door.too_many(2.0)
    assert again.look("0000", client, 9.0) is door.WRONG_PIN
    assert again.look("481516", client, 9.0) == door.too_many(4.0)
    assert again.look("481516", address("192.168.1.24"), 9.0) is Right.SETTINGS


def test_all_together_wait_after_a_restart_too() -> None:
    lock = PinLock("481516")
    for number in range(20):
        lock.look("0000", address(f"192.168.1.{number + 1}"), 5.0)
    again = PinLock("481516", kept=lock.to_keep(5.0), now_s=0.0)
    assert again.look("481516", address("192.168.9.9"), 0.0) == door.too_many(2.0)


def test_waits_are_written_once_in_five_minutes_and_at_the_end() -> None:
    lock, client, written, now_s = PinLock("481516"), address("192.168.1.23"), 0, 0.0
    while now_s < 86_400.0:
        lock.look("0000", client, now_s)
        for number in range(8):
            lock.look("0000", address(f"192.168.2.{number}"), now_s)
        written += lock.to_keep(now_s) is not None
        now_s += 60.0
    assert written == 288
    lock.look("0000", client, now_s)
    assert lock.to_keep(now_s, at_end=True) is not None
    assert lock.to_keep(now_s, at_end=True) is None
    # The right PIN ends a wait, after a restart too.
    lock = PinLock("481516", kept='{"form":1,"all":3,"by":{"192.168.1.23":3}}', now_s=0.0)
    assert lock.look("481516", client, 2.0) is Right.SETTINGS
    assert lock.to_keep(2.0) == '{"form":1,"all":3,"by":{}}'


@pytest.mark.parametrize(
    "kept",
    [
        "",
        "{",
        "[]",
        "null",
        '{"form":2,"all":9,"by":{"192.168.1.23":9}}',
        '{"form":1,"all":9,"by":{"192.168.1.23":"9"}}',
        '{"form":1,"all":-1,"by":{"192.168.1.23":9}}',
        '{"form":1,"all":9}',
        '{"form":1,"all":true,"by":{}}',
        "[" * 9999,
    ],
)
def test_kept_waits_that_nobody_understands_count_as_none(kept: str) -> None:
    assert PinLock("481516", kept=kept).look("481516", address("192.168.1.23"), 0.0) is Right.SETTINGS


def test_kept_waits_are_no_longer_than_any_other() -> None:
    lock = PinLock("481516", kept='{"form":1,"all":99999999999999,"by":{"192.168.1.23":99999999999999}}')
    assert lock.look("481516", address("192.168.1.23"), 0.0) == door.too_many(900.0)
    assert lock.look("481516", address("192.168.1.24"), 0.0) == door.too_many(60.0)


def test_without_a_pin_nobody_signs_in() -> None:
    assert PinLock(None).look("", address("192.168.1.23"), 1.0) is door.NO_PIN_SET


def test_a_pin_of_other_letters_is_simply_wrong() -> None:
    assert PinLock("481516").look("４８１５１６", address("192.168.1.23"), 1.0) is door.WRONG_PIN


def test_each_pin_gives_its_own_right() -> None:
    lock, client = PinLock("481516", "2342"), address("192.168.1.23")
    assert lock.look("2342", client, 1.0) is Right.AIR
    assert lock.look("481516", client, 1.0) is Right.SETTINGS
    assert lock.is_air_pin("2342") is True
    assert lock.is_air_pin("481516") is False
    lock.set("108108")
    assert lock.look("481516", client, 1.0) is door.WRONG_PIN
    assert lock.look("108108", client, 1.0) is Right.SETTINGS
    assert PinLock(None, "2342").look("2342", client, 1.0) is Right.AIR


def test_the_wait_is_said_in_whole_seconds_rounded_up() -> None:
    assert door.too_many(0.2).sentence == "Too many wrong PINs. Try again in 1 s."
    assert door.too_many(29.1).sentence == "Too many wrong PINs. Try again in 30 s."
    assert door.too_many(29.1).retry_after_s == 30


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ("/machine/Table%20saw", "/machine/Table%20saw"),
        ("//evil.example", "/"),
        ("/\\evil.example", "/"),
        ("http://evil.example", "/"),
        ("", "/"),
        (None, "/"),
        ("/a\r\nSet-Cookie: x=1", "/"),
    ],
)
def test_the_way_back_stays_on_the_page(given: str | None, path: str) -> None:
    assert door.own_path(given) == path
