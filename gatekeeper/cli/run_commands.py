"""The commands of the board: the controller, its outputs, its doctor."""

import json
import os
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, refuse, runnable_shop

if TYPE_CHECKING:
    from pathlib import Path

    from gatekeeper.service.notify import ServiceManager


@app.command()
def run(
    shop_file: ShopArgument,
    pins: Annotated[str, typer.Option("--pins", help="The board's lines: gpiod, lgpio, or mock for none.")] = "gpiod",
    state: Annotated[str | None, typer.Option("--state", help="Folder for what must outlive a power cut.")] = None,
    no_page: Annotated[bool, typer.Option("--no-page", help="Run without the phone page.")] = False,
    ask: Annotated[
        bool, typer.Option("--ask", help="Where there is no shop file yet, ask for it on the page first.")
    ] = False,
) -> None:
    """Run a shop on the board's own pins, unattended."""
    from pathlib import Path

    from gatekeeper.backing import take_up_waiting
    from gatekeeper.certificate import CertificateTrouble, validity_of
    from gatekeeper.devices.base import DeviceError
    from gatekeeper.devices.pins import open_pins
    from gatekeeper.launch import Page, open_page, run_until_told, state_folder
    from gatekeeper.neighbours import join, speaker_for
    from gatekeeper.service.lock import AlreadyRunning
    from gatekeeper.service.notify import Heartbeat, ServiceManager
    from gatekeeper.service.running import Service
    from gatekeeper.service.wiring_sensors import bank_for, meters_for

    folder = state_folder(shop_file, Path(state) if state else None)
    for said in take_up_waiting(Path(shop_file), folder):
        typer.echo(said)
    manager = ServiceManager()
    is_missing = Path(shop_file).suffix == ".yaml" and not Path(shop_file).exists()
    if ask and is_missing and not _asked_first(Path(shop_file), folder, manager):
        raise typer.Exit(0)
    shop, name, text = runnable_shop(shop_file)
    try:
        if not no_page:
            validity_of(shop.page)
    except CertificateTrouble as trouble:
        refuse(str(trouble))
    try:
        speaker = speaker_for(shop)
        service = Service(shop, open_pins(pins), folder, open_bank=bank_for(pins), open_meters=meters_for(pins))
    except (DeviceError, AlreadyRunning) as trouble:
        refuse(str(trouble))
    except OSError as trouble:
        refuse(f"The state folder {folder} cannot be used ({trouble.strerror}); name another with --state.")
    heartbeat = Heartbeat(manager, service.marks, service.clock.now)
    service.after_step = heartbeat.beat
    service.start()
    typer.echo(f"{shop.name}: running on {pins}. State in {folder}.")
    if service.is_first_start:
        from gatekeeper.cautions import CAUTIONS

        typer.echo("Before the first cut:")
        for caution in CAUTIONS:
            typer.echo(f"  - {caution}")
    page = anew = None
    if not no_page or speaker is not None or shop.messages.push is not None:
        # Late: the shop is under control before the web is even loaded.
        from gatekeeper.service.calibration_file import shop_file_of
        from gatekeeper.service.change_walk import ShopPeople
        from gatekeeper.service.commissioning_walk import ShopCommissioning
        from gatekeeper.service.facing import ShopFace
        from gatekeeper.service.upkeep import ShopUpkeep

        face = ShopFace(service, file=shop_file_of(name, text))
        face.start()
        upkeep = ShopUpkeep(lambda: service, shop_file_of(name, text))
        people = ShopPeople(lambda: service, face, upkeep)
        commissioning = ShopCommissioning(lambda: service, face, upkeep, lambda: face)
        leave = join(service, face, speaker).leave if speaker is not None else None
        if shop.messages.push is not None:
            from gatekeeper.service.push import push_of

            push = push_of(shop.messages.push, service.report)
            if push is not None:
                push.start(face)
    if not no_page:
        from gatekeeper.interview_page import MachinesPage
        from gatekeeper.page_keeping import KeptPage
        from gatekeeper.taking_over import TakeOver

        anew = TakeOver(face.view)
        machines = MachinesPage(lambda: face.file or shop_file_of(name, text), anew.stays, anew.ask)
        where, port = shop.page.listen, shop.page.port

        def opened() -> Page:
            made = open_page(
                shop,
                folder,
                face,
                listen=where,
                port=port,
                lan=False,
                upkeep=upkeep,
                people=people,
                commissioning=commissioning,
                broker=leave,
                interviews=machines,
            )
            typer.echo(f"Page: {'  '.join(made.addresses)}  PIN: {made.pin}")
            return made

        page = KeptPage(opened, f"{where} port {port}", service.report)
        page.start()
    heartbeat.all_is_set_up()
    status = run_until_told(service, page, manager.ending, anew)
    if anew is not None and anew.is_taken:
        typer.echo("Starting anew by the file as it is now.")
        # A service manager starts it again by itself, after every output was put off.
        if not manager.is_listening:
            os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])
    raise typer.Exit(status)


def _asked_first(out: "Path", folder: "Path", manager: "ServiceManager") -> bool:
    """Ask for the shop on a page; False where a signal ended it before there was a file."""
    from gatekeeper.interview_page_serving import PORT, ask_first

    if not out.parent.is_dir():
        refuse(f"{out}: there is no folder {out.parent} to write it into.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return ask_first(out, folder, typer.echo, port=PORT, manager=manager)
    except OSError as trouble:
        refuse(f"The page that asks for the shop cannot be opened on port {PORT} ({trouble.strerror}).")


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

    shop, _, _ = runnable_shop(shop_file)
    lines = output_lines(shop)
    try:
        opened = open_pins(pins)
    except DeviceError as trouble:
        refuse(str(trouble))
    faults = put_off(opened, lines)
    for fault in faults:
        typer.echo(fault, err=True)
    typer.echo(f"{len(lines) - len(faults)} of {len(lines)} outputs are off.")
    raise typer.Exit(1 if faults else 0)


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

    shop, name, _ = runnable_shop(shop_file)
    pins, findings = examine(shop, name, pins, Path(state) if state else None)
    if as_json:
        typer.echo(json.dumps(doctor_data(shop, pins, findings), indent=2, ensure_ascii=False))
    else:
        typer.echo("\n".join(doctor_lines(shop, pins, findings)))
    raise typer.Exit(0 if is_well(findings) else 1)
