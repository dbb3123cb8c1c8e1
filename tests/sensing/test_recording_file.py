"""Reading a recording: what is taken, and one plain sentence for what is not."""

import math

import numpy as np
import pytest

from gatekeeper.recording import RecordingError, read_recording


def npz(folder, **arrays):
    path = folder / "wave.npz"
    np.savez(path, **arrays)
    return path


def csv(folder, text):
    path = folder / "wave.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def refusal(path, rate_hz=2000, mains_hz=50, **more) -> str:
    with pytest.raises(RecordingError) as caught:
        read_recording(path, rate_hz, mains_hz, **more)
    return str(caught.value)


def test_the_current_is_taken_and_nothing_else(tmp_path):
    samples = np.arange(100, dtype=np.float32)
    path = npz(tmp_path, current_A=samples, voltage_V=samples * 3, metadata_json="{broken")
    recording = read_recording(path, 2000, 50)
    assert recording.samples_a == (samples.tolist(),)
    assert (recording.rate_hz, recording.mains_hz, recording.duration_s) == (2000, 50, 0.05)
    assert recording.taken == "current_A: 1 channel, 100 samples"


def test_a_single_array_of_numbers_needs_no_name(tmp_path):
    path = npz(tmp_path, i=np.array([[1, 2], [3, 4]] * 50), note="text")
    recording = read_recording(path, 2000, 50)
    assert recording.samples_a == ([1.0, 3.0] * 50, [2.0, 4.0] * 50)
    assert recording.taken == "i: 2 channels, 100 samples"
    assert read_recording(npz(tmp_path, i=np.zeros((2, 100))), 2000, 50).taken == "i: 2 channels, 100 samples"


def test_one_of_several_recordings_with_its_phases(tmp_path):
    block = np.arange(4 * 100 * 3).reshape(4, 100, 3)
    path = npz(tmp_path, current_A=block)
    recording = read_recording(path, 2000, 50, recording=3)
    assert recording.samples_a == tuple(block[2, :, k].tolist() for k in range(3))
    assert recording.taken == "current_A: recording 3 of 4, 3 channels, 100 samples"
    assert refusal(path, recording=5) == "wave.npz has 4 recordings; there is no number 5."
    assert refusal(npz(tmp_path, current_A=block[0]), recording=2) == "wave.npz has 1 recording; there is no number 2."


@pytest.mark.parametrize("heading", ["", "amperes\n", "\ufeffcurrent [A]\n"])
def test_a_column_of_amperes(tmp_path, heading):
    recording = read_recording(csv(tmp_path, heading + "1.5\n\n-2e-1\n" * 50), 2000, 50) if not heading else None
    recording = recording or read_recording(csv(tmp_path, heading + "1.5\n-2e-1\n" * 50), 2000, 50)
    assert recording.samples_a == ([1.5, -0.2] * 50,)
    assert recording.taken == "one column of amperes, 100 samples"


def test_columns_of_seconds_and_amperes(tmp_path):
    text = "t,i\n" + "".join(f"{7 + k / 2000:.4f}, {k}\n" for k in range(100))
    recording = read_recording(csv(tmp_path, text), 2000, 50)
    assert recording.samples_a == ([float(k) for k in range(100)],)
    assert recording.taken == "the second of two columns as amperes, 100 samples"
    assert refusal(csv(tmp_path, text), rate_hz=4000) == (
        "The time column of wave.csv says 2000 samples a second and the rate given is 4000."
    )


BAD_CSV = {
    "": "wave.csv is empty: it has no samples.",
    "current\n": "wave.csv is empty: it has no samples.",
    "1\n2\nthree\n": "Line 3 of wave.csv is not a number: 'three'.",
    "a\nb\n1\n": "Line 2 of wave.csv is not a number: 'b'.",
    "1\nnan\n": "Sample 2 of channel 1 in wave.csv is not a number; every sample must be one.",
    "1\n1e400\n": "Sample 2 of channel 1 in wave.csv is not a number; every sample must be one.",
    "1\n-2e5\n": "Sample 2 of channel 1 in wave.csv is -200000 A; more than 100,000 A is no mains current.",
    "1,2,3\n": "Line 1 of wave.csv has 3 columns; one of amperes, or seconds and amperes, are allowed.",
    "0,2\n1\n": "Line 2 of wave.csv has 1 columns and the lines before have 2; all must have the same.",
    "0,2\n-1,2\n": "The time column of wave.csv runs backwards.",
    "0,2\ninf,2\n": "The time column of wave.csv holds something that is not a number.",
    "0,2\n0,2\n": "The time column of wave.csv says inf samples a second and the rate given is 2000.",
    "1\n" * 79: "wave.csv has 79 samples; two mains cycles at this rate are 80, and that is the least.",
    b"\xff\xfe\x00\x01": "wave.csv is not a text file; a .csv file holds one sample a line.",
}


@pytest.mark.parametrize("text", BAD_CSV)
def test_bad_csv(tmp_path, text):
    assert refusal(csv(tmp_path, text)) == BAD_CSV[text]


def test_two_cycles_are_enough(tmp_path):
    assert read_recording(csv(tmp_path, "1\n" * 80), 2000, 50).duration_s == 0.04


BAD_NPZ = {
    "empty": ({"current_A": np.zeros(0)}, "wave.npz is empty: it has no samples."),
    "nan": (
        {"current_A": np.array([0.0] * 7 + [math.nan] + [0.0] * 200)},
        "Sample 8 of channel 1 in wave.npz is not a number; every sample must be one.",
    ),
    "words": (
        {"current_A": np.array(["a", "b"])},
        "wave.npz has no array of numbers; put the current in amperes into current_A.",
    ),
    "objects": (
        {"current_A": np.array([{}, None], dtype=object)},
        "wave.npz has no array of numbers; put the current in amperes into current_A.",
    ),
    "which": (
        {"u": np.zeros(9), "i": np.zeros(9)},
        "wave.npz has 2 arrays of numbers (i, u) and none called current_A; name the current current_A.",
    ),
    "dimensions": (
        {"i": np.zeros((1, 2, 3, 4))},
        "i in wave.npz has 4 dimensions; samples, (samples, channels) and (recordings, samples, phases) are allowed.",
    ),
    "channels": ({"i": np.zeros((100, 33))}, "wave.npz has 33 channels; at most 32 are allowed."),
}


@pytest.mark.parametrize("kind", BAD_NPZ)
def test_bad_npz(tmp_path, kind):
    arrays, text = BAD_NPZ[kind]
    assert refusal(npz(tmp_path, **arrays)) == text


@pytest.mark.parametrize("damage", [lambda b: b"", lambda b: b"no zip", lambda b: b[:-30], lambda b: b"\x93NUMPY" + b])
def test_damaged_npz(tmp_path, damage):
    path = npz(tmp_path, current_A=np.arange(1000.0))
    path.write_bytes(damage(path.read_bytes()))
    assert refusal(path) == "wave.npz is not a whole .npz file; save it again."


def test_an_npy_under_the_wrong_name_is_refused(tmp_path):
    path = tmp_path / "wave.npz"
    with path.open("wb") as file:
        np.save(file, np.zeros(100))
    assert refusal(path) == "wave.npz is not a whole .npz file; save it again."


def test_files_that_are_not_there_or_of_another_kind(tmp_path):
    assert refusal(tmp_path / "wave.npz") == "There is no file wave.npz to read."
    assert refusal(tmp_path / "wave.wav") == "wave.wav is no kind of recording that can be read; .npz and .csv are."
    (tmp_path / "folder.csv").mkdir()
    assert refusal(tmp_path / "folder.csv") == "There is no file folder.csv to read."


@pytest.mark.parametrize("mains_hz", [0.0, 39.9, 71.0, -50.0, math.nan, math.inf])
def test_mains_that_is_none(tmp_path, mains_hz):
    assert refusal(csv(tmp_path, "1\n" * 100), mains_hz=mains_hz) == (
        f"The mains frequency is {mains_hz:g} Hz; 40 to 70 Hz are allowed, usually 50 or 60."
    )


@pytest.mark.parametrize("rate_hz", [0.0, 399.0, 1.1e6, -1.0, math.nan, math.inf])
def test_rates_that_cannot_serve(tmp_path, rate_hz):
    assert refusal(csv(tmp_path, "1\n" * 100), rate_hz=rate_hz) == (
        f"The rate is {rate_hz:g} samples a second; 400 to 1,000,000 are allowed at 50 Hz mains."
    )


def test_every_shared_recording_can_be_read(waves):
    from pathlib import Path

    folder = Path(__file__).resolve().parents[3] / "shared" / "waves"
    for name, wave in waves.items():
        recording = read_recording(folder / f"{name}.npz", wave.rate_hz, wave.mains_hz)
        assert list(recording.samples_a[0]) == wave.samples_a.tolist()
