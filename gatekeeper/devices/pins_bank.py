"""The pin factory over a pin bank (see ``pin_bank``): the very same drivers, on lines that outlive the program."""

import threading
import time
from typing import Any

from gpiozero.pins.pi import PiFactory, PiPin

from gatekeeper.devices.pin_bank import BankLink
from gatekeeper.devices.resting import HEADER_REVISION, RestingOutput


class BankPin(RestingOutput, PiPin):  # type: ignore[misc]
    """One line of the bank."""

    def __init__(self, factory: Any, info: Any) -> None:
        super().__init__(factory, info)
        self._function = "input"
        self._pull = info.pull or "floating"
        self._frequency_hz: float | None = None
        self._duty = 0.0

    def close(self) -> None:
        self.when_changed = None
        super().close()

    def _ask(self, do: str, **more: Any) -> Any:
        return self.factory.link.ask(do, self._number, **more)

    def _claim_output(self, level: bool) -> None:
        self._ask("claim_output", level=float(level))
        self._function = "output"

    def _get_function(self) -> str:
        return self._function

    def _set_function(self, value: str) -> None:
        if value == "output":
            self._claim_output(False)
        else:
            self._ask("claim_input", pull=self._pull)
            self._function = "input"

    def _get_state(self) -> float:
        return float(self._ask("read"))

    def _set_state(self, value: float) -> None:
        if self._frequency_hz is None:
            self._ask("write", level=float(bool(value)))
        else:
            self._duty = float(value)
            self._ask("pulse", frequency_hz=self._frequency_hz, duty=self._duty)

    def _get_pull(self) -> str:
        return str(self._pull)

    def _set_pull(self, value: str) -> None:
        self._ask("claim_input", pull=value)
        self._pull = value

    def _get_frequency(self) -> float | None:
        return self._frequency_hz

    def _set_frequency(self, value: float | None) -> None:
        if value is None and self._frequency_hz is not None:
            self._ask("pulse", frequency_hz=None, duty=0.0)
        self._frequency_hz = value

    def _get_edges(self) -> str:
        return "both"

    def _set_edges(self, value: str) -> None:
        """Every edge is told; our inputs never ask for less."""

    def _enable_event_detect(self) -> None:
        self.factory.edges_for[self._number] = self

    def _disable_event_detect(self) -> None:
        self.factory.edges_for.pop(self._number, None)


class BankFactory(PiFactory):  # type: ignore[misc]
    """Lines of the bank listening on the unix socket ``path``; edges come in a thread of its own.

    Raises:
        DeviceError: no bank listens there.
    """

    def __init__(self, path: str) -> None:
        super().__init__()
        self.pin_class = BankPin
        self.edges_for: dict[int, BankPin] = {}
        self.link = BankLink(path)
        self._edges = BankLink(path)
        self._edges.ask("watch")
        self._thread = threading.Thread(target=self._listen, name="pin-bank-edges", daemon=True)
        self._thread.start()

    def close(self) -> None:
        try:
            super().close()
        finally:
            self._edges.close()
            self._thread.join()
            self.link.close()

    def _listen(self) -> None:
        while (edge := self._edges.edge()) is not None:
            pin = self.edges_for.get(edge[0])
            if pin is not None:
                pin._call_when_changed(self.ticks(), edge[1])

    def _get_revision(self) -> int:
        return HEADER_REVISION

    @staticmethod
    def ticks() -> float:
        return time.monotonic()

    @staticmethod
    def ticks_diff(later: float, earlier: float) -> float:
        return later - earlier
