"""The commands that play a shop on this computer."""

from typing import Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, playable_shop, refuse


@app.command()
def demo(
    shop_file: Annotated[
        str, typer.Argument(metavar="[SHOP]", help="A shop file, or the name of an example shop.")
    ] = "garage-one-collector",
    speed: Annotated[float, typer.Option("--speed", help="Seconds in the shop for each real one.")] = 1.0,
    lan: Annotated[bool, typer.Option("--lan", help="Open the page to phones on this network.")] = False,
    port: Annotated[int, typer.Option("--port", help="The page's port; 0 for any free one.")] = 8080,
    state: Annotated[str | None, typer.Option("--state", help="Keep the state there, not in a passing folder.")] = None,
) -> None:
    """Run the real controller on a virtual shop, with its page and a bench to play on."""
    from pathlib import Path

    from gatekeeper.demo import run_demo
    from gatekeeper.files import FileTrouble
    from sim.bench import VirtualBench
    from sim.plant import VirtualShop

    if not 0.1 <= speed <= 100:
        refuse(f"The speed is {speed:g}; 0.1 to 100 are allowed.")
    if not 0 <= port <= 65535:
        refuse(f"The port is {port}; 0 to 65535 are allowed.")
    shop, _, text = playable_shop(shop_file)
    folder = Path(state) if state else None
    try:
        status = run_demo(shop, text, VirtualShop, VirtualBench, speed=speed, lan=lan, port=port, state=folder)
    except FileTrouble as trouble:
        refuse(str(trouble))
    except OSError as trouble:
        refuse(f"The page cannot listen on port {port} ({trouble.strerror}); choose another with --port.")
    raise typer.Exit(status)


@app.command()
def simulate(
    shop_file: ShopArgument,
    scenario_file: Annotated[
        str | None,
        typer.Argument(metavar="[SCENARIO.yaml]", help="A scenario file, or the name of one that ships."),
    ] = None,
    day: Annotated[bool, typer.Option("--day", help="Play one working day, drawn from a pattern of work.")] = False,
    year: Annotated[bool, typer.Option("--year", help="Play 365 days, one after the other.")] = False,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Another seed draws other days.")] = 0,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the record with the truth beside it, and the figures last.")
    ] = False,
    report: Annotated[str | None, typer.Option("--report", help="Write what came of it as a page: out.html.")] = None,
    fidelity: Annotated[
        str, typer.Option("--fidelity", help="signals, or samples: currents through converter and detector, slower.")
    ] = "signals",
) -> None:
    """Play a shop on this computer: a scenario, a day or a year, and say whether everything held."""
    from gatekeeper.simulating import DAYS_OF_A_YEAR, CannotSimulate
    from gatekeeper.simulating import simulate as play

    if day and year:
        refuse("--day and --year are given; leave one of them out.")
    shop, name, _ = playable_shop(shop_file)
    days = 1 if day else DAYS_OF_A_YEAR if year else None
    try:
        status = play(
            shop, name, scenario_file, days=days, seed=seed, fidelity=fidelity, as_json=as_json, report=report
        )
    except CannotSimulate as trouble:
        refuse(str(trouble))
    raise typer.Exit(status)


@app.command()
def study(
    shop_file: ShopArgument,
    kind: Annotated[str, typer.Argument(metavar="spin-down|what-if", help="Find the delays, or try something else.")],
    days: Annotated[int, typer.Option("--days", min=1, max=1000, help="How many working days are played.")] = 10,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Another seed draws other days.")] = 0,
    jobs: Annotated[
        int | None, typer.Option("--jobs", min=1, max=256, help="Processes at once; one for each core if not given.")
    ] = None,
    work: Annotated[
        str | None, typer.Option("--work", metavar="SCENARIO", help="Take the pattern of work of a scenario file.")
    ] = None,
    cache: Annotated[str | None, typer.Option("--cache", help="Keep played days in this folder.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the answer for machines.")] = False,
    report: Annotated[str | None, typer.Option("--report", help="Write the answer as a page: out.html.")] = None,
    write: Annotated[bool, typer.Option("--write", help="Write the delays into the shop file, after asking.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
    against: Annotated[
        str | None, typer.Option("--against", metavar="SHOP2", help="What if: another shop file, the same days.")
    ] = None,
    fan_of: Annotated[
        str | None, typer.Option("--fan-of", metavar="SHOP2", help="What if: the fan of another shop file.")
    ] = None,
    automate: Annotated[
        list[str] | None, typer.Option("--automate", metavar="GATE", help="What if this gate moved by itself.")
    ] = None,
    by_hand: Annotated[
        list[str] | None, typer.Option("--by-hand", metavar="GATE", help="What if this gate were moved by hand.")
    ] = None,
) -> None:
    """Play many days to find the spin-down delays, or to see what another fan, layout or gate would change."""
    from gatekeeper.studying import Asked, CannotStudy, StudyStopped, changes_of, compare, spin_down

    asked = Asked(shop_file, days, seed, jobs, work, cache, as_json, report)
    other = [word for word, given in _what_if_words(against, fan_of, automate, by_hand) if given]
    try:
        match kind:
            case "spin-down":
                if other:
                    refuse(f"{other[0]} belongs to what-if: gatekeeper study {shop_file} what-if {other[0]} ...")
                spin_down(asked, typer.echo, write=write or yes, ask=lambda words: yes or typer.confirm(words))
            case "what-if":
                if write or yes:
                    refuse("--write and --yes belong to spin-down; what-if writes nothing into a shop file.")
                compare(asked, changes_of(automate or [], by_hand or [], fan_of), against, typer.echo)
            case _:
                refuse(f"{kind} is no study; there are spin-down and what-if.")
    except CannotStudy as trouble:
        refuse(str(trouble))
    except StudyStopped as stopped:
        typer.echo(str(stopped), err=True)
        raise typer.Exit(1) from None


def _what_if_words(
    against: str | None, fan_of: str | None, automate: list[str] | None, by_hand: list[str] | None
) -> tuple[tuple[str, bool], ...]:
    """The options of what-if, and whether each was given."""
    given = ("--against", against), ("--fan-of", fan_of), ("--automate", automate), ("--by-hand", by_hand)
    return tuple((word, bool(value)) for word, value in given)
