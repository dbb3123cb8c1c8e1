"""Faults tried on samples: currents as converter codes, contacts on lines, the real drivers and the real sensing."""

import math

import pytest
from catalogue_stories import happenings_of, tried

from sim.catalogue import BY_NAME, on
from sim.catalogue_row import Layer
from sim.checker import check_record
from sim.happening import What
from sim.play import Fidelity

#: Where a shorter play than the story's shows the outcome: a sensor that is never quiet, for a quarter of an hour.
ENDS_S = {"noisy sensor": 300.0}


@pytest.mark.parametrize("name", [row.name for row in on(Layer.SAMPLES)])
def test_the_written_outcome_holds_on_samples(name: str) -> None:
    trial, entries = tried(name, fidelity=Fidelity.SAMPLES, ends_s=ENDS_S.get(name, math.inf))
    holds = BY_NAME[name].holds
    assert holds is not None
    assert holds(trial) is None
    assert not [entry for entry in entries if entry.kind in ("dropped", "fault")]
    stands_still = any(one.what is What.STANDS_STILL for one in happenings_of(name))
    said = [entry.as_json() for entry in entries if not entry.kind.startswith("truth_")]
    assert check_record(said, punctual=not stands_still) == []
