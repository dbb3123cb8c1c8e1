"""Figures for a scraper, in the plain text format of Prometheus (version 0.0.4): what is so now, nothing derived."""

from collections.abc import Iterable, Iterator

from gatekeeper.service.face import Beat, GateWord, Heap, SensorWord, ShopView

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"
_ESCAPES = str.maketrans({"\\": "\\\\", '"': '\\"', "\n": "\\n"})


def exposition(view: ShopView, beat: Beat) -> str:
    """All figures of one view. ``beat``: the control thread's last sign of life."""
    return "".join(_lines(view, beat))


def _lines(view: ShopView, beat: Beat) -> Iterator[str]:
    yield from _family(
        "gatekeeper_control_silence_seconds",
        "Since the control thread's last step.",
        [({}, max(0.0, beat.now_s - beat.step_s))],
    )
    yield from _family(
        "gatekeeper_motor_runs",
        "1 while the motor counts as running.",
        (({"motor": motor.name}, motor.runs) for motor in view.motors),
    )
    yield from _family(
        "gatekeeper_motor_out_of_service",
        "1 while the motor is out of service.",
        (({"motor": motor.name}, motor.out_of_service is not None) for motor in view.motors),
    )
    yield from _family(
        "gatekeeper_motor_starts_in_hand",
        "Starts that the motor has left.",
        (({"motor": motor.name}, motor.starts.now) for motor in view.motors if motor.starts is not None),
    )
    yield from _family(
        "gatekeeper_gate_open",
        "1 where the gate is proven open.",
        (({"gate": gate.name}, gate.word is GateWord.OPEN) for gate in view.gates),
    )
    yield from _family(
        "gatekeeper_gate_stuck",
        "1 while the gate is stuck.",
        (({"gate": gate.name}, gate.word is GateWord.STUCK) for gate in view.gates),
    )
    yield from _family(
        "gatekeeper_tool_runs",
        "1 while the machine runs.",
        (({"tool": tool.name}, tool.sensor is SensorWord.RUNNING) for tool in view.tools),
    )
    yield from _family(
        "gatekeeper_tool_sensor_lost",
        "1 while the machine's sensor cannot be believed.",
        (({"tool": tool.name}, tool.sensor is SensorWord.LOST) for tool in view.tools),
    )
    yield from _family(
        "gatekeeper_tool_current_amperes",
        "The last current, true RMS.",
        (({"tool": tool.name}, tool.current_a) for tool in view.tools if tool.current_a is not None),
    )
    yield from _family(
        "gatekeeper_messages",
        "Messages that stand, by how soon they hurt.",
        (({"heap": heap.value}, sum(m.heap is heap and not m.cleared for m in view.messages)) for heap in Heap),
    )


def _family(name: str, said: str, samples: Iterable[tuple[dict[str, str], float]]) -> Iterator[str]:
    """One figure with its samples; nothing where it has none."""
    lines = []
    for labels, value in samples:
        told = ",".join(f'{key}="{text.translate(_ESCAPES)}"' for key, text in labels.items())
        lines.append(f"{name}{{{told}}} {float(value):.6g}\n" if told else f"{name} {float(value):.6g}\n")
    if lines:
        yield f"# HELP {name} {said}\n# TYPE {name} gauge\n"
        yield from lines
