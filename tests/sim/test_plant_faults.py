"""Faults on request: what can be broken, and what is refused."""

import pytest
from plant_rig import example_shop

from sim.faults import Faults, GateFault, MotorFault, SensorFault


@pytest.fixture
def calls() -> list[str]:
    return []


@pytest.fixture
def faults(calls: list[str]) -> Faults:
    return Faults(
        example_shop("long-narrow"), before=lambda: calls.append("before"), after=lambda: calls.append("after")
    )


def test_everything_begins_well_and_can_be_broken_and_mended(faults: Faults, calls: list[str]) -> None:
    assert faults.gate("lathe gate") is None
    faults.break_gate("lathe gate", GateFault.JAMMED)
    faults.break_motor("vacuum", MotorFault.WELDED)
    faults.break_sensor("circuit:east sockets", SensorFault.DEAD)
    faults.break_sensor("confirm:collector", SensorFault.STUCK_ON)
    faults.mute("clamp board")

    assert faults.gate("lathe gate") is GateFault.JAMMED
    assert faults.motor("vacuum") is MotorFault.WELDED
    assert faults.sensor("circuit:east sockets") is SensorFault.DEAD
    assert faults.sensor("confirm:collector") is SensorFault.STUCK_ON
    assert faults.is_muted("clamp board")
    assert calls == ["before", "after"] * 5
    faults.break_gate("lathe gate", None)
    faults.mute("clamp board", False)
    assert faults.gate("lathe gate") is None
    assert not faults.is_muted("clamp board")


def test_sensors_are_clamps_current_switches_and_position_switches_and_no_buttons(faults: Faults) -> None:
    assert set(faults.sensors()) == {
        "tool:panel saw",
        "tool:planer",
        "tool:bandsaw",
        "tool:bench outlet",
        "circuit:east sockets",
        "confirm:vacuum",
        "confirm:collector",
        "open:saw cabinet gate",
        "shut:saw cabinet gate",
        "open:planer gate",
        "open:bandsaw gate",
    }


def test_a_clamp_can_only_be_dead(faults: Faults, calls: list[str]) -> None:
    with pytest.raises(ValueError) as told:
        faults.break_sensor("tool:planer", SensorFault.STUCK_ON)

    assert str(told.value) == "tool:planer cannot be stuck on. It can be dead."
    assert faults.sensor("tool:planer") is None
    assert calls == []


def test_names_that_are_none_are_refused(faults: Faults, calls: list[str]) -> None:
    for act, kind in (
        (lambda: faults.break_gate("x", None), "gate"),
        (lambda: faults.break_motor("x", None), "motor"),
        (lambda: faults.break_sensor("x", None), "sensor"),
        (lambda: faults.mute("x"), "converter"),
        (lambda: faults.sensor("input:door stop"), "sensor"),
    ):
        with pytest.raises(ValueError, match=f"^This shop has no {kind} called "):
            act()
    assert calls == []
