"""The commands. Each one reads the files and composes; what it needs is imported when it runs.

Exit status: 0 done, 1 failed while running, 2 the command or a file was wrong and nothing was moved.
"""

import json
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

if TYPE_CHECKING:
    from gatekeeper.shop.model import Shop

app = typer.Typer(
    name="gatekeeper",
    help="Opens the gate at the machine that starts, runs the right dust collector, and keeps the duct clear.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

ShopArgument = Annotated[str, typer.Argument(metavar="SHOP.yaml", help="A shop file, or the name of an example shop.")]


@app.callback()
def _commands() -> None:
    """Keeps every command a word of its own, however few there are."""


@app.command()
def check(
    shop_file: ShopArgument,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings for machines.")] = False,
    show_all: Annotated[bool, typer.Option("--all", help="Show every finding, not only the first ten.")] = False,
) -> None:
    """Say what stops a shop, what will bite, and what is nice to know."""
    from gatekeeper.certificate import beside_the_file
    from gatekeeper.files import FileTrouble, read_shop_text
    from gatekeeper.printing import check_data, check_lines
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    try:
        text, name = read_shop_text(shop_file)
    except FileTrouble as trouble:
        _refuse(str(trouble))
    shop = load_shop(text, name)
    more = [] if isinstance(shop, Faults) else beside_the_file(shop)
    if as_json:
        typer.echo(json.dumps(check_data(name, shop, more), indent=2, ensure_ascii=False))
    else:
        typer.echo("\n".join(check_lines(name, shop, more, show_all=show_all)))
    if isinstance(shop, Faults):
        raise typer.Exit(2)


@app.command()
def schema(
    scenario: Annotated[bool, typer.Option("--scenario", help="That of a scenario file instead.")] = False,
) -> None:
    """Print the JSON Schema of a shop file, or of a scenario file; editors check and complete by it."""
    if scenario:
        from sim.scenario import scenario_schema

        found = scenario_schema()
    else:
        from gatekeeper.shop.schema import shop_schema

        found = shop_schema()
    typer.echo(json.dumps(found, indent=2, ensure_ascii=False))


@app.command()
def new(
    out: Annotated[str, typer.Argument(metavar="OUT.yaml", help="The shop file to write.")],
) -> None:
    """Ask for a shop from the collector outward and write its file; what is answered is kept if you stop."""
    from pathlib import Path

    from gatekeeper.interviewing import CannotInterview, interview_new, terminal_face

    try:
        is_written = interview_new(Path(out), terminal_face(typer.echo))
    except CannotInterview as trouble:
        _refuse(str(trouble))
    raise typer.Exit(0 if is_written else 1)


@app.command()
def add(
    shop_file: ShopArgument,
    move: Annotated[
        str | None, typer.Option("--move", help="A machine that gets another way to the collector.")
    ] = None,
    retire: Annotated[str | None, typer.Option("--retire", help="A machine that leaves the shop.")] = None,
) -> None:
    """Ask for one more machine, or one that moves or leaves, and change nothing else in the file."""
    from pathlib import Path

    from gatekeeper.interviewing import CannotInterview, interview_parts, terminal_face

    if move is not None and retire is not None:
        _refuse("--move and --retire are two things; give one of them.")
    shop, name, text = _shop_and_text(shop_file)
    if not Path(name).is_file():
        _refuse(f"{name} is an example and stays as it is; copy it to a file of yours first.")
    try:
        is_written = interview_parts(Path(name), text, shop, terminal_face(typer.echo), move, retire)
    except CannotInterview as trouble:
        _refuse(str(trouble))
    raise typer.Exit(0 if is_written else 1)


@app.command()
def airflow(
    shop_file: ShopArgument,
    open_gates: Annotated[list[str] | None, typer.Option("--open", help="A gate that stands open; repeat it.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the state for machines, in SI units.")] = False,
) -> None:
    """Say how the air moves in a shop's ducts with these gates open and all others shut."""
    from gatekeeper.layout.commands import LayoutTrouble, airflow_answer

    shop, name = _shop(shop_file)
    try:
        typer.echo(airflow_answer(shop, name, open_gates or [], as_json=as_json))
    except LayoutTrouble as trouble:
        _refuse(str(trouble))


@app.command()
def layout(
    shop_file: ShopArgument,
    other_file: Annotated[
        str | None, typer.Argument(metavar="[SHOP2.yaml]", help="A second layout, set beside the first.")
    ] = None,
    report: Annotated[str | None, typer.Option("--report", help="Write the study as a page, such as out.html.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the study for machines, in SI units.")] = False,
    all_open: Annotated[
        bool, typer.Option("--all-open", help="For sites whose rules forbid gates that cut airflow: none ever moves.")
    ] = False,
) -> None:
    """Say what each machine of a layout gets, where chips settle, who can run together, and what would mend it."""
    from gatekeeper.layout.commands import LayoutTrouble, layout_answer

    shops = [_shop(named) for named in (shop_file, other_file) if named is not None]
    try:
        said, is_short = layout_answer(shops, all_open=all_open, report=report, as_json=as_json)
    except LayoutTrouble as trouble:
        _refuse(str(trouble))
    typer.echo(said)
    raise typer.Exit(1 if is_short else 0)


@app.command()
def replay(
    recording: Annotated[str, typer.Argument(metavar="RECORDING", help="A recorded current: .npz or .csv, amperes.")],
    rate_hz: Annotated[float, typer.Option("--rate", help="Samples a second.")],
    mains_hz: Annotated[float, typer.Option("--mains", help="Mains frequency, 50 or 60 Hz.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print the record, one JSON object a line.")] = False,
    speed: Annotated[
        float | None, typer.Option("--speed", help="Seconds a real second; as fast as it goes if not given.")
    ] = None,
    trip_a: Annotated[float | None, typer.Option("--trip", help="Amperes above which the tool runs.")] = None,
    number: Annotated[int, typer.Option("--recording", help="Which one of a file of several, from 1.")] = 1,
    shop_file: Annotated[str, typer.Option("--shop", help="The shop to play it in.")] = "recording-bench",
    plot: Annotated[
        str | None, typer.Option("--plot", help="Draw current, RMS, trip and decisions into this .svg or .png.")
    ] = None,
) -> None:
    """Send a recorded current through sensing, core and drivers, and print what happens when."""
    from pathlib import Path

    from gatekeeper.files import FileTrouble, write_new
    from gatekeeper.recording import RecordingError, read_recording
    from gatekeeper.service.replaying import Replay, paced, picture, pictured, timeline
    from gatekeeper.service.wave_picture import Look, Mark, svg_of
    from gatekeeper.service.wave_png import NOT_INSTALLED, can_draw, png_of

    if speed is not None and not speed > 0:
        _refuse(f"The speed is {speed:g}; it must be more than 0.")
    if trip_a is not None and not 0 < trip_a <= 1000:
        _refuse(f"The trip is {trip_a:g} A; it must be more than 0 A and at most 1000 A.")
    kind = Path(plot).suffix.lower() if plot is not None else ""
    if plot is not None and kind not in (".svg", ".png"):
        _refuse(f"{plot} is no picture that can be drawn; name a file that ends in .svg or .png.")
    if kind == ".png" and not can_draw():
        _refuse(NOT_INSTALLED)
    shop, _ = _shop(shop_file)
    looks: list[Look] = []
    marks: list[Mark] = []
    try:
        heard = read_recording(Path(recording), rate_hz, mains_hz, number)
        run = Replay(shop, heard, trip_a, looks.append if plot is not None else None)
    except (RecordingError, ValueError) as trouble:
        _refuse(str(trouble))
    entries = pictured(run, run.entries() if speed is None else paced(run.entries(), run, speed), marks)
    if as_json:
        for entry in entries:
            typer.echo(json.dumps(entry.as_json(), ensure_ascii=False))
    else:
        for shown in timeline(run, entries):
            typer.echo(shown)
    run.close()
    if plot is not None:
        try:
            drawn = picture(Path(recording).name, heard, looks, marks)
            write_new(Path(plot), png_of(drawn) if kind == ".png" else svg_of(drawn).encode(), replace=True)
        except FileTrouble as trouble:
            _refuse(str(trouble))


@app.command()
def record(
    shop_file: ShopArgument,
    machine: Annotated[str, typer.Argument(metavar="TOOL", help="The tool, outlet or motor whose clamp is read.")],
    out: Annotated[str, typer.Argument(metavar="OUT", help="A new file: .npz or .csv.")],
    seconds: Annotated[float, typer.Option("--seconds", help="How long, 1 to 600 s.")] = 10.0,
    pins: Annotated[
        str, typer.Option("--pins", help="gpiod or lgpio: the board's converters; mock: none; virtual: a virtual shop.")
    ] = "gpiod",
) -> None:
    """Write what a machine's clamp sees to a file that replay reads. Switches nothing."""
    from pathlib import Path

    from gatekeeper.devices.base import DeviceError
    from gatekeeper.taking import CannotTake, converters_for, record_to_file
    from sim.plant import VirtualShop

    shop, _ = _shop(shop_file)
    try:
        lines = record_to_file(shop, machine, Path(out), seconds, converters_for(shop, pins, VirtualShop))
    except (CannotTake, DeviceError) as trouble:
        _refuse(str(trouble))
    for said in lines:
        typer.echo(said)


@app.command()
def calibrate(
    shop_file: ShopArgument,
    machine: Annotated[str, typer.Argument(metavar="TOOL", help="The tool, outlet or motor whose clamp is set.")],
    pins: Annotated[
        str, typer.Option("--pins", help="gpiod or lgpio: the board's converters; virtual: a virtual shop.")
    ] = "gpiod",
    yes: Annotated[bool, typer.Option("--yes", help="Write what is found without asking.")] = False,
) -> None:
    """Find which clamp sees a machine, measure it off and running, and write its trip into the shop file."""
    from pathlib import Path

    from gatekeeper.calibrating import terminal_face, walk
    from gatekeeper.devices.base import DeviceError
    from gatekeeper.service.calibration_file import CannotCalibrate, changes_for, write_back
    from gatekeeper.taking import converters_for
    from sim.plant import VirtualShop

    shop, name = _shop(shop_file)
    try:
        clamp, proposal = walk(shop, machine, converters_for(shop, pins, VirtualShop), terminal_face(typer.echo))
        changes, said = changes_for(shop, clamp, proposal)
    except (CannotCalibrate, DeviceError) as trouble:
        _refuse(str(trouble))
    for sentence in said:
        typer.echo(sentence)
    if not Path(name).is_file():
        typer.echo(f"{name} is an example and stays as it is; copy it to a file of yours to keep this.")
    elif yes or typer.confirm(f"Write this into {name}?"):
        try:
            write_back(Path(name), changes)
        except CannotCalibrate as trouble:
            _refuse(str(trouble))
        typer.echo("Written. A controller that is running takes this up when it starts again.")
        typer.echo(f"next: gatekeeper check {name}")
    else:
        typer.echo("Nothing was written.")


@app.command()
def run(
    shop_file: ShopArgument,
    pins: Annotated[str, typer.Option("--pins", help="The board's lines: gpiod, lgpio, or mock for none.")] = "gpiod",
    state: Annotated[str | None, typer.Option("--state", help="Folder for what must outlive a power cut.")] = None,
    no_page: Annotated[bool, typer.Option("--no-page", help="Run without the phone page.")] = False,
) -> None:
    """Run a shop on the board's own pins, unattended."""
    from pathlib import Path

    from gatekeeper.backing import take_up_waiting
    from gatekeeper.certificate import CertificateTrouble, validity_of
    from gatekeeper.devices.base import DeviceError
    from gatekeeper.devices.pins import open_pins
    from gatekeeper.launch import open_page, run_until_told, state_folder
    from gatekeeper.neighbours import join, speaker_for
    from gatekeeper.service.lock import AlreadyRunning
    from gatekeeper.service.notify import Heartbeat, ServiceManager
    from gatekeeper.service.running import Service
    from gatekeeper.service.wiring_sensors import bank_for, meters_for

    folder = state_folder(shop_file, Path(state) if state else None)
    for said in take_up_waiting(Path(shop_file), folder):
        typer.echo(said)
    shop, name, text = _runnable(shop_file)
    try:
        if not no_page:
            validity_of(shop.page)
    except CertificateTrouble as trouble:
        _refuse(str(trouble))
    try:
        speaker = speaker_for(shop)
        service = Service(shop, open_pins(pins), folder, open_bank=bank_for(pins), open_meters=meters_for(pins))
    except (DeviceError, AlreadyRunning) as trouble:
        _refuse(str(trouble))
    except OSError as trouble:
        _refuse(f"The state folder {folder} cannot be used ({trouble.strerror}); name another with --state.")
    manager = ServiceManager()
    heartbeat = Heartbeat(manager, service.marks, service.clock.now)
    service.after_step = heartbeat.beat
    service.start()
    typer.echo(f"{shop.name}: running on {pins}. State in {folder}.")
    if service.is_first_start:
        from gatekeeper.cautions import CAUTIONS

        typer.echo("Before the first cut:")
        for caution in CAUTIONS:
            typer.echo(f"  - {caution}")
    page = None
    if not no_page or speaker is not None or shop.messages.push is not None:
        # Late: the shop is under control before the web is even loaded.
        from gatekeeper.service.calibration_file import shop_file_of
        from gatekeeper.service.change_walk import ShopPeople
        from gatekeeper.service.facing import ShopFace
        from gatekeeper.service.upkeep import ShopUpkeep

        face = ShopFace(service, file=shop_file_of(name, text))
        face.start()
        upkeep = ShopUpkeep(lambda: service, shop_file_of(name, text))
        people = ShopPeople(lambda: service, face, upkeep)
        if speaker is not None:
            join(service, face, speaker)
        if shop.messages.push is not None:
            from gatekeeper.service.push import push_of

            push = push_of(shop.messages.push, service.report)
            if push is not None:
                push.start(face)
    if not no_page:
        try:
            where, port = shop.page.listen, shop.page.port
            page = open_page(shop, folder, face, listen=where, port=port, lan=False, upkeep=upkeep, people=people)
        except OSError as trouble:
            # The shop goes on without its page.
            where = f"{shop.page.listen} port {shop.page.port}"
            typer.echo(f"The page cannot listen on {where} ({trouble.strerror}).", err=True)
        else:
            typer.echo(f"Page: {'  '.join(page.addresses)}  PIN: {page.pin}")
    heartbeat.all_is_set_up()
    raise typer.Exit(run_until_told(service, page, manager.ending))


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
        _refuse(f"The speed is {speed:g}; 0.1 to 100 are allowed.")
    if not 0 <= port <= 65535:
        _refuse(f"The port is {port}; 0 to 65535 are allowed.")
    shop, _, text = _played(shop_file)
    folder = Path(state) if state else None
    try:
        status = run_demo(shop, text, VirtualShop, VirtualBench, speed=speed, lan=lan, port=port, state=folder)
    except FileTrouble as trouble:
        _refuse(str(trouble))
    except OSError as trouble:
        _refuse(f"The page cannot listen on port {port} ({trouble.strerror}); choose another with --port.")
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
        _refuse("--day and --year are given; leave one of them out.")
    shop, name, _ = _played(shop_file)
    days = 1 if day else DAYS_OF_A_YEAR if year else None
    try:
        status = play(
            shop, name, scenario_file, days=days, seed=seed, fidelity=fidelity, as_json=as_json, report=report
        )
    except CannotSimulate as trouble:
        _refuse(str(trouble))
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
                    _refuse(f"{other[0]} belongs to what-if: gatekeeper study {shop_file} what-if {other[0]} ...")
                spin_down(asked, typer.echo, write=write or yes, ask=lambda words: yes or typer.confirm(words))
            case "what-if":
                if write or yes:
                    _refuse("--write and --yes belong to spin-down; what-if writes nothing into a shop file.")
                compare(asked, changes_of(automate or [], by_hand or [], fan_of), against, typer.echo)
            case _:
                _refuse(f"{kind} is no study; there are spin-down and what-if.")
    except CannotStudy as trouble:
        _refuse(str(trouble))
    except StudyStopped as stopped:
        typer.echo(str(stopped), err=True)
        raise typer.Exit(1) from None


def _what_if_words(
    against: str | None, fan_of: str | None, automate: list[str] | None, by_hand: list[str] | None
) -> tuple[tuple[str, bool], ...]:
    """The options of what-if, and whether each was given."""
    given = ("--against", against), ("--fan-of", fan_of), ("--automate", automate), ("--by-hand", by_hand)
    return tuple((word, bool(value)) for word, value in given)


@app.command("outputs-off")
def outputs_off(
    shop_file: ShopArgument,
    pins: Annotated[str, typer.Option("--pins", help="The board's lines: gpiod, lgpio, or mock for none.")] = "gpiod",
) -> None:
    """Put every output of a shop to its off level, motors first. For after a crash; the controller must not run."""
    from gatekeeper.devices.base import DeviceError
    from gatekeeper.devices.pins import open_pins
    from gatekeeper.devices.pins import outputs_off as put_off
    from gatekeeper.service.wiring import output_lines

    shop, _, _ = _runnable(shop_file)
    lines = output_lines(shop)
    try:
        opened = open_pins(pins)
    except DeviceError as trouble:
        _refuse(str(trouble))
    faults = put_off(opened, lines)
    for fault in faults:
        typer.echo(fault, err=True)
    typer.echo(f"{len(lines) - len(faults)} of {len(lines)} outputs are off.")
    raise typer.Exit(1 if faults else 0)


@app.command()
def wiring(
    shop_file: ShopArgument,
    out: Annotated[
        str | None, typer.Option("--out", help="Write the plan: one page, such as wiring.html, or a folder.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the plan for machines.")] = False,
) -> None:
    """Say how a shop is wired: drawings, cables, parts to buy, work in order, electrician's sheet, labels, signs."""
    from gatekeeper.wiring_plan.commands import WiringTrouble, wiring_answer

    shop, name = _shop(shop_file)
    try:
        typer.echo(wiring_answer(shop, name, out, as_json=as_json))
    except WiringTrouble as trouble:
        _refuse(str(trouble))


@app.command()
def signs(
    shop_file: ShopArgument,
    out: Annotated[str, typer.Option("--out", help="The page to write.")] = "signs.html",
) -> None:
    """Write the signs to hang in a shop: what starts or moves by itself, what must stay out, how to run by hand."""
    from gatekeeper.wiring_plan.commands import WiringTrouble, signs_answer

    shop, _ = _shop(shop_file)
    try:
        typer.echo(signs_answer(shop, out))
    except WiringTrouble as trouble:
        _refuse(str(trouble))


@app.command()
def pins(
    shop_file: ShopArgument,
    assign: Annotated[
        bool, typer.Option("--assign", help="Choose a pin for every wire without one, and better ones for bad ones.")
    ] = False,
    write: Annotated[bool, typer.Option("--write", help="Write the choice into the shop file, after asking.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
) -> None:
    """Say which wire is on which pin; choose pins that are quiet while the board starts."""
    from pathlib import Path

    from gatekeeper.pinning import PinTrouble, assign_lines, pin_lines, write_pins

    if (write or yes) and not assign:
        _refuse("--write and --yes belong to --assign; without it nothing is chosen.")
    shop, name, text = _shop_and_text(shop_file)
    try:
        if not assign:
            typer.echo("\n".join(pin_lines(shop, name, text)))
            return
        said, choices = assign_lines(name, text)
        typer.echo("\n".join(said))
        if not choices:
            return
        if not Path(name).is_file():
            typer.echo(f"{name} is an example and stays as it is; copy it to a file of yours to keep this.")
        elif not (write or yes):
            typer.echo(f"Nothing was written. next: gatekeeper pins {name} --assign --write")
        elif yes or typer.confirm(f"Write this into {name}?"):
            write_pins(Path(name), text, choices)
            typer.echo(f"Written. next: gatekeeper wiring {name} --out wiring.html")
        else:
            typer.echo("Nothing was written.")
    except PinTrouble as trouble:
        _refuse(str(trouble))


@app.command()
def doctor(
    shop_file: Annotated[
        str, typer.Argument(metavar="[SHOP.yaml]", help="A shop file; the installed one if none is given.")
    ] = "/etc/gatekeeper/shop.yaml",
    pins: Annotated[
        str | None, typer.Option("--pins", help="The board's lines: gpiod or lgpio; the service's own if not given.")
    ] = None,
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings for machines.")] = False,
) -> None:
    """Say what on this machine would keep a shop from running unattended, and what to do. Changes nothing."""
    from pathlib import Path

    from gatekeeper.doctor import doctor_data, doctor_lines, examine, is_well

    shop, name, _ = _runnable(shop_file)
    pins, findings = examine(shop, name, pins, Path(state) if state else None)
    if as_json:
        typer.echo(json.dumps(doctor_data(shop, pins, findings), indent=2, ensure_ascii=False))
    else:
        typer.echo("\n".join(doctor_lines(shop, pins, findings)))
    raise typer.Exit(0 if is_well(findings) else 1)


@app.command()
def backup(
    shop_file: ShopArgument,
    out: Annotated[str, typer.Argument(metavar="OUT", help="The file to write, such as shop.backup.")],
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")] = False,
) -> None:
    """Put shop file, settings, records and history into one file, while the controller runs."""
    from pathlib import Path

    from gatekeeper.backing import backed_up
    from gatekeeper.launch import installed_or_own
    from gatekeeper.records.backup import CannotBackUp

    shop, name, text = _shop_and_text(shop_file)
    folder = installed_or_own(name, Path(state) if state else None)
    try:
        typer.echo("\n".join(backed_up(shop.name, name, text, folder, Path(out), replace=replace)))
    except CannotBackUp as trouble:
        _refuse(str(trouble))


@app.command()
def restore(
    backup_file: Annotated[str, typer.Argument(metavar="FILE", help="A file that backup has made.")],
    shop_file: Annotated[
        str | None, typer.Option("--shop", help="Where the shop file goes; its old name, here, if not given.")
    ] = None,
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Set aside what is there already.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only check the file and say what is in it.")] = False,
) -> None:
    """Put a backup back: on a new card, or where the controller does not run. Nothing starts because of it."""
    from pathlib import Path

    from gatekeeper.backing import CannotRestore, checked, looked_at, put_back, restored_lines
    from gatekeeper.launch import installed_or_own

    path = Path(backup_file)
    try:
        if look:
            typer.echo("\n".join(looked_at(path)))
            return
        shop_path = Path(shop_file if shop_file is not None else checked(path).shop_file)
        folder = installed_or_own(str(shop_path), Path(state) if state else None)
        typer.echo("\n".join(restored_lines(put_back(path, shop_path, folder, replace=replace), shop_path, folder)))
    except CannotRestore as trouble:
        _refuse(str(trouble))


@app.command()
def checkup(
    shop_file: ShopArgument,
    suction: Annotated[str | None, typer.Option("--suction", help="What the gauge shows, such as 1.5 kPa.")] = None,
    at: Annotated[str | None, typer.Option("--at", help="The duct with the tap.")] = None,
    open_gates: Annotated[list[str] | None, typer.Option("--open", help="A gate that stands open; repeat it.")] = None,
    stopped: Annotated[str | None, typer.Option("--stopped", help="A motor that you saw stop after Stop.")] = None,
    who: Annotated[str, typer.Option("--who", help="Your name.")] = "the terminal",
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
) -> None:
    """The five-minute monthly check: write a reading down, and say how it stands against day one."""
    from pathlib import Path

    from gatekeeper.checking_up import CannotCheck, checked_up
    from gatekeeper.launch import installed_or_own

    shop, name = _shop(shop_file)
    folder = installed_or_own(name, Path(state) if state else None)
    try:
        lines = checked_up(shop, name, folder, suction=suction, at=at, gates=open_gates or [], stopped=stopped, who=who)
    except CannotCheck as trouble:
        _refuse(str(trouble))
    typer.echo("\n".join(lines))


@app.command()
def book(
    shop_file: ShopArgument,
    out: Annotated[str, typer.Option("--out", help="The page to write.")] = "book.html",
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
) -> None:
    """Write the shop's book: how to run by hand, as built, wiring, settings, tests, checks, care, events. To print."""
    from datetime import datetime
    from pathlib import Path

    from gatekeeper.book.facts import facts_of
    from gatekeeper.book.page import book_page
    from gatekeeper.files import FileTrouble, write_new
    from gatekeeper.launch import installed_or_own

    shop, name, text = _shop_and_text(shop_file)
    facts = facts_of(shop, name, text, installed_or_own(name, Path(state) if state else None), datetime.now())
    try:
        write_new(Path(out), book_page(facts).encode(), replace=True)
    except FileTrouble as trouble:
        _refuse(str(trouble))
    for sentence in facts.missing:
        typer.echo(sentence)
    typer.echo(f"The book of {shop.name}: {out}. Print it and hang it at the collector's switch.")


def _shop(shop_file: str) -> "tuple[Shop, str]":
    """The checked shop of a file and the file's name; every fault at once and exit status 2 where it is none."""
    shop, name, _ = _shop_and_text(shop_file)
    return shop, name


def _shop_and_text(shop_file: str) -> "tuple[Shop, str, str]":
    """As ``_shop``, and the file's text."""
    from gatekeeper.files import FileTrouble, read_shop_text
    from gatekeeper.printing import check_lines
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    try:
        text, name = read_shop_text(shop_file)
    except FileTrouble as trouble:
        _refuse(str(trouble))
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        typer.echo("\n".join(check_lines(name, shop, show_all=False)), err=True)
        raise typer.Exit(2)
    return shop, name, text


def _runnable(shop_file: str) -> "tuple[Shop, str, str]":
    """As ``_shop_and_text``, for real wires: refused while a pin is still to be chosen."""
    from gatekeeper.pinning import not_runnable

    shop, name, text = _shop_and_text(shop_file)
    wrong = not_runnable(shop, name)
    if wrong is not None:
        _refuse(wrong)
    return shop, name, text


def _played(shop_file: str) -> "tuple[Shop, str, str]":
    """As ``_shop_and_text``, for virtual wires: pins still to be chosen are chosen for the play."""
    from gatekeeper.pinning import PinTrouble, played
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    _, name, text = _shop_and_text(shop_file)
    try:
        text = played(text, name)
    except PinTrouble as trouble:
        _refuse(str(trouble))
    filled = load_shop(text, name)
    assert not isinstance(filled, Faults), "a shop with pins chosen is still a shop"
    return filled, name, text


def _refuse(said: str) -> NoReturn:
    """One plain sentence on standard error, exit status 2."""
    typer.echo(said, err=True)
    raise typer.Exit(2)


def main() -> None:
    """The ``gatekeeper`` command."""
    app()
