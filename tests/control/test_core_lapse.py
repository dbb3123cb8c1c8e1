"""A switch reports that its lease had run out before the core's renewal came: the step itself took too long (C23)."""

from gatekeeper.control.messages import Lapsed


def test_a_lease_that_its_switch_reports_as_run_out_is_a_forced_stop(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.wait(3.0)
    assert shop.state("fan") == "running"
    shop.taken()
    shop.step(Lapsed("fan"))
    assert [order for order in shop.taken() if order[1] == "fan"] == [(13.0, "fan", "off")]
    assert "lease_lost" in shop.alarms()
    # It used up every cause that stood: nothing starts by itself (C21).
    shop.wait(60.0)
    assert [order for order in shop.taken() if order[1] == "fan"] == []
    shop.stops("saw")
    shop.starts("saw")
    assert [order[2] for order in shop.taken() if order[1] == "fan"] == ["on"]


def test_a_report_about_a_motor_that_is_off_changes_nothing(open_shop):
    shop = open_shop()
    shop.wait(3.0)
    shop.taken()
    shop.step(Lapsed("fan"))
    assert shop.taken() == []
    assert "lease_lost" not in shop.alarms()
