"""Reads a recording of mains current from a file, for replay: samples, rate and mains frequency, and nothing else.

Whatever else a file carries (labels, notes, times of starts) is not looked at: what proves the detector may not know
the answer.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

LEAST_MAINS_HZ, MOST_MAINS_HZ = 40.0, 70.0
LEAST_SAMPLES_PER_CYCLE = 8
MOST_RATE_HZ = 1_000_000.0
LEAST_CYCLES = 2
MOST_CHANNELS = 32
MOST_A = 1e5
CURRENT_KEY = "current_A"
# A time column may differ from the rate by a clock's error, not by a mix-up of rates.
RATE_TOLERANCE = 0.02


class RecordingError(Exception):
    """A recording that cannot be replayed; the message is one plain sentence."""


@dataclass(frozen=True, slots=True)
class Recording:
    """Currents of one or more wires.

    Args:
        samples_a: one sequence of amperes per channel, all of the same length.
        rate_hz: samples per second and channel.
        mains_hz: nominal mains frequency.
        taken: in words, what was taken from the file.
    """

    samples_a: tuple[Sequence[float], ...]
    rate_hz: float
    mains_hz: float
    taken: str

    @property
    def duration_s(self) -> float:
        """How long the recording is, seconds."""
        return len(self.samples_a[0]) / self.rate_hz


def read_recording(path: Path, rate_hz: float, mains_hz: float, recording: int = 1) -> Recording:
    """Read a recording.

    Args:
        path: a `.npz` file with an array `current_A` (or a single array of numbers), or a `.csv` file with one column
            of amperes or two of seconds and amperes, with or without a line of headings.
        rate_hz: samples per second; at least 8 a mains cycle, at most 1,000,000.
        mains_hz: 40 to 70 Hz.
        recording: which one of a file of several (recordings, samples, phases), counted from 1.

    Raises:
        RecordingError: the file or a figure cannot be used; says why in one sentence.
    """
    if not LEAST_MAINS_HZ <= mains_hz <= MOST_MAINS_HZ:
        raise RecordingError(
            f"The mains frequency is {mains_hz:g} Hz; {LEAST_MAINS_HZ:g} to {MOST_MAINS_HZ:g} Hz are allowed, "
            "usually 50 or 60."
        )
    least_hz = LEAST_SAMPLES_PER_CYCLE * mains_hz
    if not least_hz <= rate_hz <= MOST_RATE_HZ:
        raise RecordingError(
            f"The rate is {rate_hz:g} samples a second; {least_hz:g} to {MOST_RATE_HZ:,.0f} are allowed "
            f"at {mains_hz:g} Hz mains."
        )
    if path.suffix.lower() not in (".npz", ".csv"):
        raise RecordingError(f"{path.name} is no kind of recording that can be read; .npz and .csv are.")
    if not path.is_file():
        raise RecordingError(f"There is no file {path.name} to read.")
    try:
        if path.suffix.lower() == ".npz":
            channels, taken = _read_npz(path, recording)
        else:
            channels, taken = _read_csv(path, rate_hz)
    except OSError as error:
        raise RecordingError(f"{path.name} cannot be read: {error.strerror or 'the file is damaged'}.") from None
    _check(path, channels, rate_hz, mains_hz)
    return Recording(tuple(channels), rate_hz, mains_hz, taken)


def _check(path: Path, channels: list[list[float]], rate_hz: float, mains_hz: float) -> None:
    n = len(channels[0]) if channels else 0
    if n == 0:
        raise RecordingError(f"{path.name} is empty: it has no samples.")
    for number, channel in enumerate(channels, start=1):
        for index, value in enumerate(channel, start=1):
            if not math.isfinite(value):
                raise RecordingError(
                    f"Sample {index} of channel {number} in {path.name} is not a number; every sample must be one."
                )
            if abs(value) > MOST_A:
                raise RecordingError(
                    f"Sample {index} of channel {number} in {path.name} is {value:g} A; "
                    f"more than {MOST_A:,.0f} A is no mains current."
                )
    least_n = math.ceil(LEAST_CYCLES * rate_hz / mains_hz)
    if n < least_n:
        raise RecordingError(
            f"{path.name} has {n} samples; two mains cycles at this rate are {least_n}, and that is the least."
        )


def _read_npz(path: Path, recording: int) -> tuple[list[list[float]], str]:
    import zipfile
    import zlib

    import numpy as np

    try:
        # Opened here: numpy leaves the file open when it is damaged.
        with path.open("rb") as file, np.load(file, allow_pickle=False) as archive:
            arrays = _numeric_arrays(archive)
    except (ValueError, TypeError, AttributeError, EOFError, KeyError, RuntimeError, zipfile.BadZipFile, zlib.error):
        # All the ways in which numpy and zip say that the bytes are another format, cut short or locked.
        raise RecordingError(f"{path.name} is not a whole .npz file; save it again.") from None
    if CURRENT_KEY in arrays:
        name = CURRENT_KEY
    elif len(arrays) == 1:
        name = next(iter(arrays))
    elif arrays:
        raise RecordingError(
            f"{path.name} has {len(arrays)} arrays of numbers ({', '.join(sorted(arrays))}) and none called "
            f"{CURRENT_KEY}; name the current {CURRENT_KEY}."
        )
    else:
        raise RecordingError(f"{path.name} has no array of numbers; put the current in amperes into {CURRENT_KEY}.")
    return _channels(path, name, arrays[name], recording)


def _numeric_arrays(archive: Any) -> "dict[str, np.ndarray[Any, Any]]":
    arrays = {}
    for key in archive.files:
        try:
            array = archive[key]
        except ValueError:
            # An array of Python objects: it is not unpacked, and is no current either.
            continue
        if getattr(array, "ndim", 0) > 0 and array.dtype.kind in "fiu":
            arrays[key] = array
    return arrays


def _channels(path: Path, name: str, array: "np.ndarray[Any, Any]", recording: int) -> tuple[list[list[float]], str]:
    if array.size == 0:
        raise RecordingError(f"{path.name} is empty: it has no samples.")
    if array.ndim > 3:
        raise RecordingError(
            f"{name} in {path.name} has {array.ndim} dimensions; samples, (samples, channels) and "
            "(recordings, samples, phases) are allowed."
        )
    whole = 1
    if array.ndim == 3:
        whole = int(array.shape[0])
        if not 1 <= recording <= whole:
            raise RecordingError(f"{path.name} has {whole} recordings; there is no number {recording}.")
        table = array[recording - 1]
    elif recording != 1:
        raise RecordingError(f"{path.name} has 1 recording; there is no number {recording}.")
    elif array.ndim == 2:
        # Of two dimensions the longer is time: nobody records more wires than samples.
        table = array if array.shape[0] >= array.shape[1] else array.T
    else:
        table = array.reshape(-1, 1)
    count = int(table.shape[1])
    if count > MOST_CHANNELS:
        raise RecordingError(f"{path.name} has {count} channels; at most {MOST_CHANNELS} are allowed.")
    which = f"recording {recording} of {whole}, " if whole > 1 else ""
    channels = "1 channel" if count == 1 else f"{count} channels"
    rows = int(table.shape[0])
    return [table[:, k].astype(float).tolist() for k in range(count)], f"{name}: {which}{channels}, {rows} samples"


def _read_csv(path: Path, rate_hz: float) -> tuple[list[list[float]], str]:
    rows: list[list[float]] = []
    has_heading = False
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise RecordingError(f"{path.name} is not a text file; a .csv file holds one sample a line.") from None
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        cells = [cell.strip() for cell in line.split(",")]
        try:
            row = [float(cell) for cell in cells]
        except ValueError:
            if not rows and not has_heading:
                has_heading = True
                continue
            raise RecordingError(f"Line {number} of {path.name} is not a number: {line.strip()[:40]!r}.") from None
        if len(row) > 2:
            raise RecordingError(
                f"Line {number} of {path.name} has {len(row)} columns; one of amperes, "
                "or seconds and amperes, are allowed."
            )
        if rows and len(row) != len(rows[0]):
            raise RecordingError(
                f"Line {number} of {path.name} has {len(row)} columns and the lines before have {len(rows[0])}; "
                "all must have the same."
            )
        rows.append(row)
    if not rows:
        raise RecordingError(f"{path.name} is empty: it has no samples.")
    if len(rows[0]) == 1:
        return [[row[0] for row in rows]], f"one column of amperes, {len(rows)} samples"
    _check_times(path, [row[0] for row in rows], rate_hz)
    return [[row[1] for row in rows]], f"the second of two columns as amperes, {len(rows)} samples"


def _check_times(path: Path, times_s: list[float], rate_hz: float) -> None:
    """The time column must run at the rate that was given: replay counts samples, it does not read times."""
    if not all(math.isfinite(t_s) for t_s in times_s):
        raise RecordingError(f"The time column of {path.name} holds something that is not a number.")
    steps = [b - a for a, b in pairwise(times_s)]
    if not steps:
        return
    if min(steps) < 0:
        raise RecordingError(f"The time column of {path.name} runs backwards.")
    span_s = times_s[-1] - times_s[0]
    true_hz = len(steps) / span_s if span_s > 0 else math.inf
    if abs(true_hz / rate_hz - 1) > RATE_TOLERANCE:
        raise RecordingError(
            f"The time column of {path.name} says {true_hz:g} samples a second and the rate given is {rate_hz:g}."
        )
