"""What a run begins with, from what an earlier one made durable (C8a, C14, C21)."""

import pytest

from gatekeeper.control.keeping import may_resume, out_of_service_of, store_of
from gatekeeper.control.messages import Kept
from gatekeeper.control.plan import MotorPlan

FAN = MotorPlan("fan", starts_per_hour=60.0, rest_s=80.0, resume=True)


def kept(same_boot=True, damaged=False, **values):
    return Kept({key.replace("__", "/"): value for key, value in values.items()}, False, damaged, same_boot)


def test_a_fresh_install_begins_with_a_full_store():
    store = store_of(FAN, Kept(), 10.0)
    assert (store.level, store.locked, store.rest_until_s) == (2.0, False, None)


@pytest.mark.parametrize("value", [None, "much", {}, {"level": True}, {"level": -1}, {"level": float("nan")}])
def test_a_lost_record_counts_as_one_start_behind_an_alarm(value):
    store = store_of(FAN, kept(starts__fan=value), 10.0)
    assert (store.level, store.locked) == (1.0, True)


def test_a_damaged_record_does_too():
    store = store_of(FAN, kept(starts__fan={"level": 2.0}, damaged=True), 10.0)
    assert (store.level, store.locked) == (1.0, True)


def test_an_outage_counts_as_no_time():
    store = store_of(FAN, kept(starts__fan={"level": 1.25}), 5000.0)
    assert (store.level, store.at_s) == (1.25, 5000.0)


@pytest.mark.parametrize(("clean", "level"), [(None, 0.5), (True, 1.5)])
def test_a_motor_that_was_on_without_a_clean_stop_is_charged_one_more(clean, level):
    values = {"starts__fan": {"level": 1.5}, "on__fan": True} | ({"clean_stop": clean} if clean else {})
    assert store_of(FAN, kept(**values), 10.0).level == level


@pytest.mark.parametrize(("level", "rest_until_s"), [(0.99, 90.0), (1.0, None)])
def test_without_a_start_in_hand_it_rests_from_waking(level, rest_until_s):
    assert store_of(FAN, kept(starts__fan={"level": level}), 10.0).rest_until_s == rest_until_s


def test_out_of_service_is_taken_up_and_damage_counts_as_set():
    assert out_of_service_of("fan", kept()) is None
    value = {"who": "local", "why": "belt", "since_s": 7.0}
    assert out_of_service_of("fan", kept(out_of_service__fan=value)) == ("local", "belt", 7.0)
    assert out_of_service_of("fan", kept(damaged=True)) == (
        "the controller",
        "the kept record could not be read",
        0.0,
    )


BEAT = {"t_s": 100.0, "on": ["fan"], "resumed_s": None}


@pytest.mark.parametrize(
    ("changed", "now_s", "may"),
    [
        ({}, 160.0, True),
        ({}, 160.1, False),
        ({}, 99.0, False),
        ({"beat": BEAT | {"on": []}}, 110.0, False),
        ({"beat": BEAT | {"resumed_s": 50.0}}, 110.0, False),
        ({"beat": {"t_s": 3640.0, "on": ["fan"], "resumed_s": 50.0}}, 3650.0, True),
        ({"emergency": True}, 110.0, False),
        ({"fire": True}, 110.0, False),
        ({"latched__fan": "did_not_start"}, 110.0, False),
        ({"same_boot": False}, 110.0, False),
        ({"damaged": True}, 110.0, False),
    ],
)
def test_the_sole_exception_of_c21(changed, now_s, may):
    assert may_resume(FAN, kept(**({"beat": BEAT} | changed)), now_s) is may


def test_only_a_motor_that_is_set_so_resumes():
    assert not may_resume(MotorPlan("fan"), kept(beat=BEAT), 110.0)
