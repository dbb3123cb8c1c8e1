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
from collections.abc import Iterable, Iterator
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


def run_tests(mutant: Mutant) -> int:
    """In a forked process: put the mutant in place and run the tests. 0: nobody noticed."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    os.environ["MUTATING"] = "1"  # fewer random orders: the other tests are the sieve
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # plugins would complain that they are loaded already
    signal.alarm(TIMEOUT_S)
    code = compiled(mutant.source, mutant.file)
    if code is None:
        return 99  # the interpreter itself refuses it
    name = mutant.file.removesuffix(".py").replace("/", ".")
    package = importlib.import_module(name.rpartition(".")[0])
    module = types.ModuleType(name)
    sys.modules[name] = module
    setattr(package, name.rpartition(".")[2], module)
    exec(code, module.__dict__)
    return int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--no-header", f"--rootdir={ROOT}", *TESTS]))


def survivors_of(mutants: Iterable[Mutant], jobs: int) -> tuple[int, list[Mutant]]:
    """Run the tests on each, so many at a time: how many there were, and the ones that nobody noticed."""
    running: dict[int, Mutant] = {}
    alive, total = [], 0

    def reap() -> None:
        child, status = os.wait()
        mutant = running.pop(child)
        if status == 0:
            alive.append(mutant)

    for mutant in mutants:
        total += 1
        while len(running) >= jobs:
            reap()
        child = os.fork()
        if child == 0:
            status = 98  # an error is noticed
            try:
                status = run_tests(mutant)
            finally:
                os._exit(status)
        running[child] = mutant
    while running:
        reap()
    return total, alive


def counted(mutants: Iterable[Mutant], kinds: Counter[str]) -> Iterator[Mutant]:
    for mutant in mutants:
        kinds[mutant.operator.partition("_")[0]] += 1
        yield mutant


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--show", action="store_true", help="print every survivor, listed or not")
    options = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    begun_s = time.monotonic()
    unchanged = [Mutant(file, "none", 0, "", "", (ROOT / file).read_text()) for file in FILES]
    if len(survivors_of(unchanged, 1)[1]) < len(FILES):
        print("The tests fail on the guard as it is: mend that first.")
        return 2
    survivors, total, kinds = [], 0, Counter[str]()
    for file in FILES:
        mutants = counted(mutants_of(file), kinds)
        made, alive = survivors_of(mutants, options.jobs)
        print(f"{file}: {made - len(alive)} of {made} killed")
        survivors += alive
        total += made
    listed = SURVIVORS.read_text() if SURVIVORS.exists() else ""
    unlisted = [mutant for mutant in survivors if mutant.key not in listed]
    for mutant in survivors if options.show else unlisted:
        print(f"{mutant.file}:{mutant.line} {mutant.operator}\n    {mutant.key}")
    print(", ".join(f"{kind} {count}" for kind, count in sorted(kinds.items())))
    seconds = time.monotonic() - begun_s
    print(
        f"{total - len(survivors)} of {total} killed, {len(survivors)} survive, "
        f"{len(unlisted)} of them not listed; {seconds:.0f} s"
    )
    return 1 if unlisted else 0


if __name__ == "__main__":
    sys.exit(main())
