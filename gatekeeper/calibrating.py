"""`gatekeeper calibrate`: the walk in the terminal. The engine knows what comes next; here are samples and a face."""

import math
import select
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from gatekeeper.devices.base import ConverterBank, DeviceError
from gatekeeper.sensing.calibration import Calibration, Proposal, Step
from gatekeeper.sensing.seen import Block
from gatekeeper.service.calibration_file import CannotCalibrate, wires_of
from gatekeeper.service.calibration_walk import trip_in_force_a
from gatekeeper.service.clamp_reading import FIRST_SCANS, READ_S, Clamped, NoClamp, clamp_of_machine
from gatekeeper.shop.model import Shop
from gatekeeper.taking import Converters

#: The live current is drawn on a logarithmic line from 0.01 A to 100 A.
BAR_CELLS = 40
BAR_FROM_A, BAR_DECADES = 0.01, 4
#: A virtual machine cuts for so many reads before it goes on.
VIRTUAL_CUT_READS = 10
#: The steps that ask something of the person, in their order.
ASKED = (Step.REST, Step.ON, Step.FREE, Step.CUT, Step.OFF)


@dataclass(frozen=True, slots=True)
class Face:
    """How the walk meets the person.

    Args:
        say: prints one line.
        show: shows the live line in place of the last one; None where there is no screen to show it on.
        pressed: whether the person has pressed Enter since it was asked last.
    """

    say: Callable[[str], None]
    show: Callable[[str], None] | None
    pressed: Callable[[], bool]


def terminal_face(say: Callable[[str], None]) -> Face:
    """The terminal that the program runs in; without one the prompts alone are printed and nothing is asked."""
    is_screen = sys.stdout.isatty() and sys.stdin.isatty()

    def show(line: str) -> None:
        sys.stdout.write(f"\r{line:<78}\r")
        sys.stdout.flush()

    def say_on_screen(line: str) -> None:
        show("")
        say(line)

    def pressed() -> bool:
        if not select.select([sys.stdin], [], [], 0)[0]:
            return False
        sys.stdin.readline()
        return True

    return Face(
        say_on_screen if is_screen else say,
        show if is_screen else None,
        pressed if sys.stdin.isatty() else lambda: False,
    )


def bar(amperes: float, trip_a: float | None = None) -> str:
    """A current as a bar, and a stroke where the trip is: |######....|........|"""

    def cells(value: float) -> int:
        decades = math.log10(max(value, BAR_FROM_A) / BAR_FROM_A)
        return min(BAR_CELLS, round(BAR_CELLS * decades / BAR_DECADES))

    drawn = list("#" * cells(amperes) + "." * (BAR_CELLS - cells(amperes)))
    if trip_a is not None:
        drawn[min(cells(trip_a), BAR_CELLS - 1)] = "|"
    return f"|{''.join(drawn)}|"


def walk(shop: Shop, machine: str, converters: Converters, face: Face) -> tuple[Clamped, Proposal]:
    """Walk through the calibration of one machine.

    Raises:
        CannotCalibrate: there is no clamp, it cannot be read, or no honest trip came of it.
    """
    try:
        clamp = clamp_of_machine(shop, machine)
    except NoClamp as trouble:
        raise CannotCalibrate(str(trouble)) from None
    wires = wires_of(shop, clamp)
    engine = Calibration(machine, wires, (clamp.channel.converter, clamp.channel.channel), shop.mains_hz)
    banks: dict[str, ConverterBank] = {}
    try:
        for name in dict.fromkeys(converter for converter, _ in wires):
            banks[name] = converters.open(shop, name)
        _go(engine, clamp, banks, converters, face)
    except (DeviceError, ValueError) as trouble:
        raise CannotCalibrate(str(trouble)) from None
    finally:
        for bank in banks.values():
            bank.close()
    if engine.proposal is None:
        raise CannotCalibrate(engine.prompt)
    return clamp, engine.proposal


def _go(
    engine: Calibration, clamp: Clamped, banks: dict[str, ConverterBank], converters: Converters, face: Face
) -> None:
    said: Step | None = None
    reads_in_step = 0
    if face.show is not None:
        face.say(_scale(engine))
    for _ in _rounds(engine, banks):
        if engine.step is not said:
            said, reads_in_step = engine.step, 0
            if engine.step in ASKED:
                face.say(_prompt(engine, converters.is_virtual))
            if engine.step in (Step.ON, Step.OFF):
                converters.switch(clamp.name, engine.step is Step.ON)
        reads_in_step += 1
        if face.pressed() or (converters.is_virtual and reads_in_step > VIRTUAL_CUT_READS and said is Step.CUT):
            engine.go_on()
        if face.show is not None:
            face.show(_live(engine, clamp))
        if engine.step in (Step.DONE, Step.REFUSED):
            if face.show is not None:
                face.show("")
            return


def _rounds(engine: Calibration, banks: dict[str, ConverterBank]) -> Iterator[None]:
    """Read every converter once, for ever; the first time before anything is fed, so that the first prompt comes."""
    scans = dict.fromkeys(banks, FIRST_SCANS)
    while True:
        yield
        for name, bank in banks.items():
            block = bank.read(scans[name])
            scans[name] = max(FIRST_SCANS, round(block.rate_hz * READ_S))
            for channel, codes in enumerate(block.codes):
                engine.feed((name, channel), Block(block.start_s, block.rate_hz, codes))


def _prompt(engine: Calibration, is_virtual: bool) -> str:
    waits_for_enter = engine.step is Step.CUT and not is_virtual
    asked = f"{ASKED.index(engine.step) + 1} of {len(ASKED)}: {engine.prompt}"
    return asked + (" (Enter: go on)" if waits_for_enter else "")


def _live(engine: Calibration, clamp: Clamped) -> str:
    """The current of the clamp that is worth looking at, as a line."""
    amperes = engine.live_a.get(engine.shown, 0.0)
    return f"{_before_bar(engine, amperes)}{bar(amperes, trip_in_force_a(clamp))}"


def _before_bar(engine: Calibration, amperes: float) -> str:
    converter, channel = engine.shown
    return f"  {converter} {channel}  {amperes:7.2f} A  "


def _scale(engine: Calibration) -> str:
    """What the bars' lengths mean, and the stroke in them."""
    step = BAR_CELLS // BAR_DECADES
    marks = "".join(f"{BAR_FROM_A * 10**decade:<{step}g}" for decade in range(BAR_DECADES + 1)).rstrip()
    return f"{'':{len(_before_bar(engine, 0.0))}} {marks} A   | the trip in force"
