"""What the door bears: cases tried at every address, broken files of every kind, and requests that strangers send.

    .venv/bin/python tests/bench/bench_door.py [CASES EACH] [FILES EACH]

Cases are drawn anew at each run; in the tests they are the same each time, and fewer.
"""

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))
sys.path.insert(0, str(Path(__file__).parents[1] / "files"))

from api_cases import FORMS, try_out
from broken_files import KINDS
from broken_files import try_out as try_files

from gatekeeper.web.door_limits import Limit


def main() -> None:
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    files = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    Limit.refuse = lambda self, client, now_s: None  # type: ignore[method-assign]
    begun_s = time.monotonic()
    told: Counter[str] = try_out(each, seed_free=True)
    print(f"{sum(told.values())} API cases at {len(FORMS)} forms and every page in {time.monotonic() - begun_s:.0f} s:")
    print("  by status: " + ", ".join(f"{status} {count}" for status, count in sorted(told.items())))
    print("  5xx 0, tracebacks 0, hangs 0 (each of them would have ended this)")
    for kind in KINDS:
        begun_s = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            found = try_files(kind, Path(folder), files, seed_free=True)
        told_s = time.monotonic() - begun_s
        print(f"{kind.name}: {found['read']} broken ones read, {found['refused']} refused in words, {told_s:.0f} s")


if __name__ == "__main__":
    main()
