"""Bugs planted in a copy of the core: the search with the checker must find each one, and nothing without them.

Each ``bugs/*.patch`` is a unified diff against ``gatekeeper/control`` under one line that names the rule. It is applied
by its text, not by its line numbers, so that edits elsewhere in a file do not matter.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
PATCHES = sorted((HERE / "bugs").glob("*.patch"))
#: A planted bug must be found within so many plays of the seeded search.
PLAYS = 400


def hunks(patch):
    """The hunks of a unified diff, as (file, text before, text after)."""
    found, name = [], None
    for line in patch.read_text(encoding="utf-8").splitlines(keepends=True):
        if line.startswith("+++ b/"):
            name = line[6:].strip()
        elif line.startswith("@@"):
            found.append([name, "", ""])
        elif found and line[0] in " +-":
            found[-1][1] += line[1:] if line[0] != "+" else ""
            found[-1][2] += line[1:] if line[0] != "-" else ""
    return found


def plant(patch, folder):
    """A copy of the core with one bug in it."""
    shutil.copytree(
        ROOT / "gatekeeper" / "control", folder / "gatekeeper" / "control", ignore=shutil.ignore_patterns("__pycache__")
    )
    shutil.copy(ROOT / "gatekeeper" / "__init__.py", folder / "gatekeeper" / "__init__.py")
    for name, before, after in hunks(patch) if patch else ():
        text = (folder / name).read_text(encoding="utf-8")
        assert text.count(before) == 1, (
            f"{patch.name} no longer fits {name}: make the same wrong change in today's file by hand, write "
            f"`git diff` of it under the patch's first line, and take the change back."
        )
        (folder / name).write_text(text.replace(before, after), encoding="utf-8")


def search(folder, plays):
    """Run the seeded search on the copy; its exit status and what it printed."""
    path = os.pathsep.join((str(folder), str(HERE / "support"), str(ROOT)))
    done = subprocess.run(
        [sys.executable, str(HERE / "support" / "seeded_search.py"), "--plays", str(plays), "--seconds", "300"],
        env={**os.environ, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.stderr == ""
    return done.returncode, done.stdout


def test_there_are_enough_bugs_of_different_rules():
    rules = {patch.read_text(encoding="utf-8").split(":", 1)[0] for patch in PATCHES}
    assert len(rules) >= 8


@pytest.mark.slow
@pytest.mark.parametrize("patch", PATCHES, ids=lambda patch: patch.stem)
def test_a_planted_bug_is_found(patch, tmp_path):
    plant(patch, tmp_path)
    status, told = search(tmp_path, PLAYS)
    assert status == 1, f"{patch.name} was not found in {PLAYS} plays"
    assert ", seed " in told


@pytest.mark.slow
def test_nothing_is_found_without_a_bug(tmp_path):
    plant(None, tmp_path)
    status, told = search(tmp_path, PLAYS)
    assert status == 0, told
    assert told.startswith(f"{PLAYS} plays, 0 broken")


def test_a_patch_that_no_longer_fits_says_how_to_refresh_it(tmp_path):
    stale = tmp_path / "stale.patch"
    stale.write_text(
        "C1: x\n--- a/gatekeeper/control/moves.py\n+++ b/gatekeeper/control/moves.py\n@@ -1 +1 @@\n-no such line\n+x\n"
    )
    with pytest.raises(AssertionError, match=r"stale.patch no longer fits gatekeeper/control/moves.py"):
        plant(stale, tmp_path / "copy")
