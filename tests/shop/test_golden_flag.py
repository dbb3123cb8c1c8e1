"""Golden texts change only by a named flag, and never under CI."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("ci", ["true", "1"])
def test_ci_refuses_to_rewrite_golden_texts(ci: str) -> None:
    words = [sys.executable, "-m", "pytest", "--rewrite-golden", "--collect-only", "tests/shop/test_units.py"]
    done = subprocess.run(words, cwd=ROOT, env=os.environ | {"CI": ci}, capture_output=True, text=True, timeout=120)

    assert done.returncode == 4
    assert "--rewrite-golden is refused under CI: read the change first, then commit it" in done.stderr
