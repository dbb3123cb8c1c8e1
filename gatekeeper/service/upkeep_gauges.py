"""The gauges of a shop on the page of care: what each shows now, and a measured value for the monthly check."""

from gatekeeper.sensing.gauge import GaugeState
from gatekeeper.service.care import pressure
from gatekeeper.service.care_pressure import Measured, gauge_said
from gatekeeper.service.face_care import CareGauge
from gatekeeper.service.running import Service
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import Gauge, Shop

#: A measured value is offered for so long, seconds: what was an hour ago is another cut. Ours.
OFFERED_S = 900.0


def gauge_views(service: Service, motor: str) -> tuple[CareGauge, ...]:
    """The gauges of one collector."""
    readings, newest = service.gauges.readings(), {one.gauge: one for one in service.care.pressure.measured()}
    verdicts = service.care.pressure.verdicts()
    found = []
    for gauge in service.shop.gauges.values():
        if gauge.motor != motor:
            continue
        reading = readings[gauge.name]
        pa = service.gauges.pressures()[gauge.name]
        shown = "not known now"
        if pa is not None:
            shown = f"{pressure(max(0.0, pa), service.shop.units)} {place_of(gauge)} now"
        if reading.state is GaugeState.WAITING:
            shown = "nothing has come from it yet"
        watch = verdicts.get(gauge.name)
        measured = newest.get(gauge.name)
        is_fresh = measured is not None and 0 <= service.wall_s() - measured.at_s < OFFERED_S
        found.append(
            CareGauge(
                gauge.name,
                f"{gauge.name}: {shown}.",
                gauge_said(*watch) if watch is not None else None,
                measured_said(measured, service.shop) if measured is not None and is_fresh else None,
            )
        )
    return tuple(found)


def place_of(gauge: Gauge) -> str:
    """Where a gauge measures, in words."""
    return f"of suction at {gauge.duct}" if gauge.duct is not None else "across the filter"


def measured_said(one: Measured, shop: Shop) -> str:
    """A measured value in words: "1.52 kPa at main with saw gate open"."""
    return f"{pressure(one.pa, shop.units)} at {one.tap} with {listed(list(one.gates), 'and', 12)} open"


def offered(service: Service, gauge: str) -> Measured | None:
    """The newest steady value of a gauge, where it is of these minutes."""
    found = next((one for one in service.care.pressure.measured() if one.gauge == gauge), None)
    if found is None or not 0 <= service.wall_s() - found.at_s < OFFERED_S:
        return None
    return found
