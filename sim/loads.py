"""What the machines and motors of one shop draw: from its file where it says so, else something plausible.

The plausible figures are our own assumptions of free-running currents; they are held well above the sensor's trip and
well inside its range, since a virtual shop is to show the controller at work and not a clamp that was bought too small.
"""

import math

from gatekeeper.shop.model import Motor, Sensor, Shop, Tool
from sim.currents import INDUCTION_RUN_UP_S, SOFT_START_S, UNIVERSAL_TAU_S, UNIVERSAL_TIMES, Load, LoadKind

#: Words of a machine's name, how such a machine draws, and what it draws running free, amperes.
BY_NAME: tuple[tuple[str, LoadKind, float], ...] = (
    ("outlet", LoadKind.UNIVERSAL, 3.0),
    ("router", LoadKind.UNIVERSAL, 3.5),
    ("mitre", LoadKind.UNIVERSAL, 5.0),
    ("cross-cut", LoadKind.INDUCTION, 4.0),
    ("scroll", LoadKind.UNIVERSAL, 0.7),
    ("lathe", LoadKind.SOFT_START, 3.0),
    ("drill", LoadKind.INDUCTION, 2.0),
    ("bandsaw", LoadKind.INDUCTION, 3.5),
    ("sander", LoadKind.INDUCTION, 4.0),
    ("jointer", LoadKind.INDUCTION, 5.0),
    ("saw", LoadKind.INDUCTION, 5.5),
    ("thicknesser", LoadKind.INDUCTION, 6.0),
    ("planer", LoadKind.INDUCTION, 6.0),
    ("moulder", LoadKind.INDUCTION, 5.5),
)
#: Free-running current of a machine of which only its port is known, amperes per metre of port.
BY_PORT_A_PER_M = 40.0
USUAL_A = 4.0
#: Measured standby draw of electronics, amperes.
STANDBY_A = 0.043
#: A machine of a shared circuit idles a little above the lower end of its band. Our own assumption.
IDLES_ABOVE = 1.1
TRIPS_AT_LEAST = 2.5
RANGE_AT_MOST = 0.6
#: A fan's motor at the start, over its running current; textbook: five to seven for motors of this size.
FAN_START_TIMES = 6.0
#: The inrush of a fan is over in this share of the time to full flow. Our own assumption.
FAN_RUN_UP_SHARE = 0.5
SINGLE_PHASE_V = 230.0
THREE_PHASE_V = 400.0 * math.sqrt(3)
#: Efficiency times power factor. Textbook.
LOAD_FACTOR = 0.68


def load_of_tool(shop: Shop, tool: Tool) -> Load:
    """The load of one tool or outlet."""
    found = next(((kind, amps) for word, kind, amps in BY_NAME if word in tool.name.lower()), None)
    kind = found[0] if found is not None else LoadKind.INDUCTION
    sensor = tool.sensor if tool.circuit is None else shop.circuits[tool.circuit].sensor
    if tool.running_a is not None:
        running_a = tool.running_a
    elif tool.band_a is not None:
        running_a = IDLES_ABOVE * tool.band_a[0]
    else:
        guessed_a = tool.port_diameter_m * BY_PORT_A_PER_M if tool.port_diameter_m else USUAL_A
        running_a = _seen_well(sensor, found[1] if found is not None else guessed_a)
    if kind is LoadKind.UNIVERSAL:
        return Load(kind, running_a, start_times=UNIVERSAL_TIMES, run_up_s=5 * UNIVERSAL_TAU_S, run_down_s=4.0)
    if kind is LoadKind.SOFT_START:
        return Load(kind, running_a, standby_a=STANDBY_A, run_up_s=SOFT_START_S, run_down_s=5.0)
    return Load(kind, running_a, run_up_s=INDUCTION_RUN_UP_S, run_down_s=8.0)


def load_of_motor(motor: Motor) -> Load:
    """The load of one motor that the controller starts, from its power."""
    volts = SINGLE_PHASE_V if motor.phases == 1 else THREE_PHASE_V
    running_a = _seen_well(motor.confirmed_by, motor.power_w / (volts * LOAD_FACTOR))
    run_up_s = max(INDUCTION_RUN_UP_S, FAN_RUN_UP_SHARE * motor.spin_up_s)
    return Load(
        LoadKind.INDUCTION,
        running_a,
        start_times=FAN_START_TIMES,
        run_up_s=run_up_s,
        run_down_s=max(motor.coast_s, run_up_s),
    )


def _seen_well(sensor: Sensor | None, running_a: float) -> float:
    """Held where the sensor tells it from nothing and shows it whole."""
    if sensor is None or sensor.channel is None or sensor.trip_a is None:
        return running_a
    least_a = TRIPS_AT_LEAST * sensor.trip_a
    return max(least_a, min(running_a, RANGE_AT_MOST * sensor.channel.range_a))
