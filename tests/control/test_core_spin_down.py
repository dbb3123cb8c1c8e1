"""The end of a run (C5, C6, C7, C8): the delay as now set, the clear time, a path left open, a start in hand."""

import pytest


@pytest.fixture
def shop(open_shop):
    """The saw has cut for a minute; the fan's delay is 8 s."""
    shop = open_shop()
    shop.starts("saw")
    shop.wait(60.0)
    shop.taken()
    return shop


def offs(shop):
    return [at_s for at_s, name, word in shop.taken() if (name, word) == ("fan", "off")]


def test_it_keeps_running_for_the_delay_and_no_longer(shop):
    shop.stops("saw")
    assert shop.state() == "spin_down"
    shop.wait(7.999)
    assert offs(shop) == []
    shop.wait(0.001)
    assert offs(shop) == [78.0]
    assert shop.core.world.gates["g1"].is_open


def test_a_start_in_the_countdown_cancels_it(shop):
    shop.stops("saw")
    shop.wait(7.0)
    shop.starts("saw")
    assert shop.state() == "running"
    shop.wait(100.0)
    assert offs(shop) == []


@pytest.mark.parametrize(("delay_s", "off_s"), [(2.0, 75.0), (20.0, 90.0), (6.0, 76.0)])
def test_a_changed_delay_counts_at_once_in_mid_countdown(shop, delay_s, off_s):
    shop.stops("saw")
    shop.wait(5.0)
    shop.setting(0, delay_s)
    shop.wait(60.0)
    assert offs(shop) == [off_s]


def test_a_longer_delay_set_after_the_stop_brings_nothing_back(shop):
    shop.stops("saw")
    shop.wait(60.0)
    shop.taken()
    shop.setting(0, 400.0)
    shop.wait(60.0)
    assert shop.taken() == []


def test_the_tool_s_own_delay_replaces_the_collector_s(shop):
    shop.starts("planer")
    shop.stops("saw")
    shop.wait(60.0)
    shop.stops("planer")  # 12 s of its own
    shop.wait(60.0)
    assert offs(shop) == [142.0]


def test_the_latest_result_binds(shop):
    shop.starts("planer")
    shop.wait(60.0)
    shop.stops("planer")  # 130 + 12
    shop.wait(2.0)
    shop.stops("saw")  # 132 + 8
    shop.wait(60.0)
    assert offs(shop) == [142.0]


def test_no_delay_still_leaves_the_clear_time(shop):
    shop.setting(0, 0.0)
    shop.stops("saw")
    shop.wait(60.0)
    assert offs(shop) == [73.0]


def test_a_gate_shuts_after_its_clear_time_while_another_tool_runs(shop):
    shop.starts("planer")
    shop.wait(10.0)
    shop.taken()
    shop.stops("saw")
    shop.wait(2.999)
    assert shop.taken() == []
    shop.wait(0.001)
    assert shop.taken() == [(83.0, "g1", "shut")]


def test_the_last_proven_gate_is_not_shut_by_hand(shop):
    shop.stops("saw")
    shop.wait(4.0)
    assert shop.answer("shut", "g1") == "last_path"
    assert shop.answer("shut", "g2") == "done"


def test_the_stop_waits_for_a_start_in_hand(open_shop):
    shop = open_shop()
    for _ in range(2):
        shop.starts("saw")
        shop.wait(1.0)
        shop.answer("stop", "fan")
        shop.stops("saw")
    # Two starts taken within a second: 1/60 of a start is back, the next one is due 58 s later.
    shop.starts("saw")
    assert shop.state() == "waiting"
    shop.wait(57.9)
    assert [word for _, name, word in shop.taken() if name == "fan"] == ["on", "off", "on", "off"]
    shop.wait(0.2)
    assert [word for _, name, word in shop.taken() if name == "fan"] == ["on"]
    shop.stops("saw")
    shop.wait(59.0)
    assert offs(shop) == []
    shop.wait(1.5)
    assert len(offs(shop)) == 1


@pytest.mark.parametrize("value", [-1.0, 3600.1])
def test_a_delay_out_of_range_is_refused_with_what_is_allowed(shop, value):
    from gatekeeper.control.messages import Answer, SettingChanged

    (answer,) = [c for c in shop.step(SettingChanged("fan", "spin_down_s", value)) if isinstance(c, Answer)]
    assert (answer.accepted, answer.code) == (False, "out_of_range")
    assert answer.sentence == f"A spin-down delay is 0 to 3600 s, not {value:g} s."
