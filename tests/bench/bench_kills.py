"""Kills survived: the real program under load, killed with SIGKILL at random instants, hundreds of times.

    python tests/bench/bench_kills.py [KILLS] [SEED]

Each time: nothing that the page had answered as done may be missing, no file may be damaged, no entry may be missing
within a run of the history, and the next start must have the motor off before it says that it runs. Exit status 1 where
anything was lost.
"""

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "service"))
from killing import Killing


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    begun_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        killing = Killing(Path(folder), seed)
        tally = killing.tally
        try:
            for number in range(kills):
                killing.kill_once(longest_s=8.0 if number % 4 == 0 else 0.6)
                if (number + 1) % 25 == 0:
                    print(f"{tally.kills} kills, {len(tally.lost)} with something lost", flush=True)
        finally:
            killing.close()
    print(f"kills survived             {tally.kills - len(tally.lost)} of {tally.kills}")
    print(f"settings acknowledged      {tally.acknowledged}")
    print(f"killed while the motor ran {tally.with_motor_on}")
    print(f"killed in mid-commit       {tally.with_journal}")
    print(f"data lost                  {'; '.join(tally.lost) or 'none'}")
    print(f"took                       {time.monotonic() - begun_s:.0f} s")
    sys.exit(1 if tally.lost else 0)


if __name__ == "__main__":
    main()
