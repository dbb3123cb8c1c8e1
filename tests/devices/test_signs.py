"""Signs: three words on one, two and three lamps, and the contact that permits a start."""

import pytest

from gatekeeper.devices.base import BoardDeath, DeviceError, Sign
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.permits import PermitContact
from gatekeeper.devices.pins import OutputLine, Pins
from gatekeeper.devices.signs import FAST_S, MEANING, SLOW_S, LampSign

READY, COMING, NO_AIR = 25, 24, 23


def sign_of(pins: Pins, lamps: int) -> LampSign:
    return LampSign(
        pins,
        "Saw",
        OutputLine("Saw, ready", READY),
        no_air=OutputLine("Saw, no air", NO_AIR, active_high=False) if lamps > 1 else None,
        coming=OutputLine("Saw, coming", COMING) if lamps > 2 else None,
    )


def seen(sign: LampSign, bench: BenchPins, lamps: int) -> str:
    """What a person sees within two seconds: which lamps are lit, and how often the ready lamp turned."""
    turns = 0
    while (due := sign.next_deadline()) is not None and due <= 102.001:
        before = bench.level(READY)
        sign.tick(due - 0.001)
        assert bench.level(READY) == before
        sign.tick(due)
        turns += bench.level(READY) != before
    lit = [name for name, pin, on in (("ready", READY, 1.0), ("coming", COMING, 1.0)) if bench.level(pin) == on]
    lit += ["no air"] if lamps > 1 and bench.level(NO_AIR) == 0.0 else []
    return f"{turns} turns" if turns else " and ".join(lit) or "dark"


SLOW, FAST = f"{2 / SLOW_S:g} turns", f"{2 / FAST_S:g} turns"


@pytest.mark.parametrize(
    ("lamps", "word", "looks"),
    [
        (1, "coming", SLOW),
        (1, "ready", "ready"),
        (1, "no_air", FAST),
        (2, "coming", SLOW),
        (2, "ready", "ready"),
        (2, "no_air", "no air"),
        (3, "coming", "coming"),
        (3, "ready", "ready"),
        (3, "no_air", "no air"),
    ],
)
def test_three_words_look_different(pins: Pins, bench: BenchPins, lamps: int, word: str, looks: str) -> None:
    sign = sign_of(pins, lamps)
    assert isinstance(sign, Sign)
    assert seen(sign, bench, lamps) == "dark"
    sign.show(word, 100.0)
    assert seen(sign, bench, lamps) == looks
    sign.show("dark", 103.0)
    assert (sign.next_deadline(), seen(sign, bench, lamps)) == (None, "dark")


@pytest.mark.parametrize(
    ("word", "as_word"), [("moving_soon", "coming"), ("held", "no_air"), ("shop_shut", "no_air"), ("dark", "dark")]
)
def test_the_other_words_look_like_one_of_the_three(word: str, as_word: str) -> None:
    assert MEANING[word] is MEANING[as_word]


def test_a_word_that_it_cannot_show_is_told(pins: Pins) -> None:
    with pytest.raises(DeviceError) as caught:
        sign_of(pins, 1).show("blue", 100.0)
    assert str(caught.value) == (
        "The lamp of Saw cannot show 'blue'. It can show: coming, dark, held, moving_soon, no_air, ready, shop_shut."
    )


def test_closed_it_is_dark_for_good(pins: Pins, bench: BenchPins) -> None:
    sign = sign_of(pins, 2)
    sign.show("no_air", 100.0)
    sign.close()
    sign.close()
    sign.tick(200.0)
    assert [bench.level(pin) for pin in (READY, NO_AIR)] == [0.0, 1.0]
    with pytest.raises(DeviceError) as caught:
        sign.show("ready", 101.0)
    assert str(caught.value) == "The lamp of Saw is closed."


def test_a_permit_opens_by_itself_when_nobody_renews_it(pins: Pins, bench: BenchPins) -> None:
    permit = PermitContact(pins, "saw permit", 16)
    permit.on(100.0, 102.0)
    assert bench.level(16) == 1.0
    permit.tick(102.0)
    assert bench.level(16) == 0.0
    assert permit.fate.when_board_dies is BoardDeath.DROPS
    assert permit.fate.in_words == (
        "When the board loses power it opens: the machine's start button does nothing, a running machine runs on."
    )
