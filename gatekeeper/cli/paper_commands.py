"""The commands that write what is printed."""

from typing import Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, named_shop, refuse, shop_and_text


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

    shop, name = named_shop(shop_file)
    try:
        typer.echo(wiring_answer(shop, name, out, as_json=as_json))
    except WiringTrouble as trouble:
        refuse(str(trouble))


@app.command()
def signs(
    shop_file: ShopArgument,
    out: Annotated[str, typer.Option("--out", help="The page to write.")] = "signs.html",
) -> None:
    """Write the signs to hang in a shop: what starts or moves by itself, what must stay out, how to run by hand."""
    from gatekeeper.wiring_plan.commands import WiringTrouble, signs_answer

    shop, _ = named_shop(shop_file)
    try:
        typer.echo(signs_answer(shop, out))
    except WiringTrouble as trouble:
        refuse(str(trouble))


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

    shop, name, text = shop_and_text(shop_file)
    facts = facts_of(shop, name, text, installed_or_own(name, Path(state) if state else None), datetime.now())
    try:
        write_new(Path(out), book_page(facts).encode(), replace=True)
    except FileTrouble as trouble:
        refuse(str(trouble))
    for sentence in facts.missing:
        typer.echo(sentence)
    typer.echo(f"The book of {shop.name}: {out}. Print it and hang it at the collector's switch.")
