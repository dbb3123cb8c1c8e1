"""Faults tried on samples: currents as converter codes, contacts on lines, the real drivers and the real sensing."""

import pytest
from catalogue_stories import tried

from sim.catalogue import BY_NAME, on
from sim.catalogue_row import Layer
from sim.checker import check_record
from sim.play import Fidelity

#: Every story of these rows has shown its outcome by then.
ENDS_S = 75.0


@pytest.mark.parametrize("name", [row.name for row in on(Layer.SAMPLES)])
def test_the_written_outcome_holds_on_samples(name: str) -> None:
    trial, entries = tried(name, fidelity=Fidelity.SAMPLES, ends_s=ENDS_S)
    holds = BY_NAME[name].holds
    assert holds is not None
    assert holds(trial) is None
    assert not [entry for entry in entries if entry.kind in ("dropped", "fault")]
    assert check_record(entry.as_json() for entry in entries if not entry.kind.startswith("truth_")) == []
