"""What the commands share: the program itself, and the files they are given.

Exit status: 0 done, 1 failed while running, 2 the command or a file was wrong and nothing was moved.
"""

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


def named_shop(shop_file: str) -> "tuple[Shop, str]":
    """The checked shop of a file and the file's name; every fault at once and exit status 2 where it is none."""
    shop, name, _ = shop_and_text(shop_file)
    return shop, name


def shop_and_text(shop_file: str) -> "tuple[Shop, str, str]":
    """As ``named_shop``, and the file's text."""
    from gatekeeper.files import FileTrouble, read_shop_text
    from gatekeeper.printing import check_lines
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    try:
        text, name = read_shop_text(shop_file)
    except FileTrouble as trouble:
        refuse(str(trouble))
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        typer.echo("\n".join(check_lines(name, shop, show_all=False)), err=True)
        raise typer.Exit(2)
    return shop, name, text


def runnable_shop(shop_file: str) -> "tuple[Shop, str, str]":
    """As ``shop_and_text``, for real wires: refused while a pin is still to be chosen."""
    from gatekeeper.pinning import not_runnable

    shop, name, text = shop_and_text(shop_file)
    wrong = not_runnable(shop, name)
    if wrong is not None:
        refuse(wrong)
    return shop, name, text


def playable_shop(shop_file: str) -> "tuple[Shop, str, str]":
    """As ``shop_and_text``, for virtual wires: pins still to be chosen are chosen for the play."""
    from gatekeeper.pinning import PinTrouble, played
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    _, name, text = shop_and_text(shop_file)
    try:
        text = played(text, name)
    except PinTrouble as trouble:
        refuse(str(trouble))
    filled = load_shop(text, name)
    assert not isinstance(filled, Faults), "a shop with pins chosen is still a shop"
    return filled, name, text


def refuse(said: str) -> NoReturn:
    """One plain sentence on standard error, exit status 2."""
    typer.echo(said, err=True)
    raise typer.Exit(2)
