"""Break the guard in every way that cosmic-ray knows, and see which breaks no test notices.

    python tests/bench/mutate_guard.py [--jobs N] [--show]

Every operator of cosmic-ray that needs no arguments is used at every place of both halves of the guard, whole files,
nothing left out. Each mutant is compiled with warnings as errors (as the test run does), put in the place of the real
module in a forked process, and given to the guard's tests; nothing on disk is touched. A mutant that compiles to the
same byte code is no mutant. The exit status is 0 when every survivor is listed, with its reason, in
``tests/control/guard_survivors.md``.
"""

import argparse
import importlib
import os
import signal
import sys
import time
import types
import warnings
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import unified_diff
from pathlib import Path

import cosmic_ray.plugins
import hypothesis  # noqa: F401  (loaded once, before the forks)
import pytest
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

ROOT = Path(__file__).resolve().parents[2]
FILES = ("gatekeeper/control/guard_memory.py", "gatekeeper/control/guard.py")
SURVIVORS = ROOT / "tests" / "control" / "guard_survivors.md"
TESTS = sorted(str(path) for path in (ROOT / "tests" / "control").glob("test_guard_*.py"))
TIMEOUT_S = 120


@dataclass(frozen=True)
class Mutant:
    file: str
    operator: str
    line: int
    before: str
    after: str
    source: str

    @property
    def key(self) -> str:
        """How the list of survivors names it: independent of line numbers."""
        return f"{Path(self.file).name}: `{self.before}` -> `{self.after}`"


def operators() -> Iterator[tuple[str, object]]:
    for name in sorted(cosmic_ray.plugins.operator_names()):
        kind = cosmic_ray.plugins.get_operator(name)
        if not any(kind.arguments()):  # the others replace a variable that the caller names
            yield name, kind()


def mutants_of(file: str) -> Iterator[Mutant]:
    source = (ROOT / file).read_text()
    seen = {compiled(source, file)}
    for name, operator in operators():
        nodes = list(ast_nodes(get_ast(source)))
        places = sum(len(list(operator.mutation_positions(node))) for node in nodes)  # type: ignore[attr-defined]
        for place in range(places):
            text = mutate_code(source, operator, place)
            if text is None or text == source:
                continue
            code = compiled(text, file)
            if code in seen:
                continue  # the same byte code as another, or as the original
            if code is not None:
                seen.add(code)
            changed = list(unified_diff(source.splitlines(), text.splitlines(), lineterm="", n=0))
            at = next(
                i
                for i, (old, new) in enumerate(zip(source.splitlines(), text.splitlines(), strict=False), 1)
                if old != new
            )
            minus = [line[1:].strip() for line in changed[2:] if line.startswith("-")]
            plus = [line[1:].strip() for line in changed[2:] if line.startswith("+")]
            yield Mutant(file, name.removeprefix("core/"), at, " ".join(minus), " ".join(plus), text)


def compiled(source: str, file: str) -> types.CodeType | None:
    """None for what the interpreter itself refuses."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return compile(source, file, "exec")
        except (SyntaxError, SyntaxWarning):
            return None


def run_tests(mutant: Mutant | None) -> int:
    """In a forked process: put the mutant in place and run the tests. 0: nobody noticed."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    os.environ["MUTATING"] = "1"  # fewer random orders: the other tests are the sieve
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # plugins would complain that they are loaded already
    signal.alarm(TIMEOUT_S)
    if mutant is not None:
        code = compiled(mutant.source, mutant.file)
        if code is None:
            return 99
        name = mutant.file.removesuffix(".py").replace("/", ".")
        package = importlib.import_module(name.rpartition(".")[0])
        module = types.ModuleType(name)
        sys.modules[name] = module
        setattr(package, name.rpartition(".")[2], module)
        exec(code, module.__dict__)
    return int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--no-header", f"--rootdir={ROOT}", *TESTS]))


def survivors_of(mutants: Sequence[Mutant | None], jobs: int) -> list[Mutant | None]:
    """Run the tests on each, so many at a time; the ones that nobody noticed, in order."""
    waiting, running, alive = list(mutants), {}, []
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop(0)
            child = os.fork()
            if child == 0:
                status = 98  # an error is noticed
                try:
                    status = run_tests(mutant)
                finally:
                    os._exit(status)
            running[child] = mutant
        child, status = os.wait()
        mutant = running.pop(child)
        if status == 0:
            alive.append(mutant)
    return [mutant for mutant in mutants if mutant in alive]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--show", action="store_true", help="print every survivor, listed or not")
    options = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    begun_s = time.monotonic()
    if not survivors_of([None], 1):
        print("The tests fail on the guard as it is: mend that first.")
        return 2
    mutants = [mutant for file in FILES for mutant in mutants_of(file)]
    survivors = [mutant for mutant in survivors_of(mutants, options.jobs) if mutant]
    listed = SURVIVORS.read_text() if SURVIVORS.exists() else ""
    unlisted = [mutant for mutant in survivors if mutant.key not in listed]
    for file in FILES:
        total = sum(mutant.file == file for mutant in mutants)
        alive = sum(mutant.file == file for mutant in survivors)
        print(f"{file}: {total - alive} of {total} killed")
    for mutant in survivors if options.show else unlisted:
        print(f"{mutant.file}:{mutant.line} {mutant.operator}\n    {mutant.key}")
    kinds = Counter(mutant.operator.partition("_")[0] for mutant in mutants)
    print(", ".join(f"{kind} {count}" for kind, count in sorted(kinds.items())))
    seconds = time.monotonic() - begun_s
    print(
        f"{len(mutants) - len(survivors)} of {len(mutants)} killed, {len(survivors)} survive, "
        f"{len(unlisted)} of them not listed; {seconds:.0f} s"
    )
    return 1 if unlisted else 0


if __name__ == "__main__":
    sys.exit(main())
