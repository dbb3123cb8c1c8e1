"""A clamp on a wire as a sensor: meter and detector together, and the watch on samples that do not come."""

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.detector import Detector, DetectorSettings
from gatekeeper.sensing.rms import CycleMeter, Reading
from gatekeeper.sensing.seen import Block, Reason, Seen, State


class CurrentSensor:
    """Says from the samples of one channel whether current flows as a running tool draws it.

    Args:
        mains_hz: nominal mains frequency, 40 to 70 Hz; the true one is followed where a current shows it.
        settings: the detector's; the defaults suit an unknown tool.
        front: the clamp and converter whose codes will be fed; None when amperes will be.

    Raises:
        ValueError: the mains frequency is outside its range.
    """

    def __init__(
        self, mains_hz: float, settings: DetectorSettings | None = None, front: FrontEnd | None = None
    ) -> None:
        self._settings = settings or DetectorSettings()
        self._meter = CycleMeter(mains_hz, front)
        self._detector = Detector(self._settings, self._meter.quarter_s, front)
        self._waiting_since_s: float | None = None
        self.last_reading: Reading | None = None

    @property
    def state(self) -> State | None:
        """The last state reported, or None before the first."""
        return self._detector.state

    @property
    def net_a(self) -> float | None:
        """The newest net RMS current, amperes; None before the first and while stale."""
        return self._detector.net_a

    @property
    def rest_a(self) -> float:
        """The level learned at rest, RMS amperes."""
        return self._detector.rest_a

    @property
    def trip_a(self) -> float:
        """The trip in force, amperes."""
        return self._detector.trip_a

    @property
    def mains_hz(self) -> float:
        """The mains frequency that the meter's window follows now, hertz."""
        return self._meter.mains_hz

    def feed(self, reading: Block) -> list[Seen]:
        """Take a block of samples; return the changes it proves.

        Raises:
            ValueError: the block's rate is under 8 samples a mains cycle.
        """
        return [seen for _, _, changes in self.follow(reading) for seen in changes]

    def follow(self, block: Block) -> list[tuple[Reading | None, float | None, list[Seen]]]:
        """As `feed`: each reading, its net RMS current in amperes, and the changes it proved.

        A hole in the samples before the block comes first, without a reading.
        """
        steps: list[tuple[Reading | None, float | None, list[Seen]]] = []
        if block.values:
            lost = self.tick(block.start_s)
            if lost:
                steps.append((None, None, lost))
        detector = self._detector
        for r in self._meter.feed(block):
            changes = detector.step(r)
            steps.append((r, detector.net_a, changes))
            self.last_reading = r
        if block.values:
            self._waiting_since_s = self._meter.end_s
        return steps

    def tick(self, now_s: float) -> list[Seen]:
        """Say that it is `now_s`; return the loss of the sensor when samples are overdue."""
        if self._waiting_since_s is None:
            self._waiting_since_s = now_s
        overdue_s = self._waiting_since_s + self._settings.missing_s
        return self._detector.lose(overdue_s, Reason.NO_SAMPLES) if now_s >= overdue_s else []

    def next_deadline(self) -> float | None:
        """Return when samples become overdue; None before the first `feed` or `tick`, and while stale."""
        if self._waiting_since_s is None or self.state is State.STALE:
            return None
        return self._waiting_since_s + self._settings.missing_s
