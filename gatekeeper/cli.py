"""The commands. Each one reads the files and composes; what it needs is imported when it runs.

Exit status: 0 done, 1 failed while running, 2 the command or a file was wrong and nothing was moved.
"""

import json
from typing import Annotated, NoReturn

import typer

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
    from gatekeeper.files import FileTrouble, read_shop_text
    from gatekeeper.printing import check_data, check_lines
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    try:
        text, name = read_shop_text(shop_file)
    except FileTrouble as trouble:
        _refuse(str(trouble))
    shop = load_shop(text, name)
    if as_json:
        typer.echo(json.dumps(check_data(name, shop), indent=2, ensure_ascii=False))
    else:
        typer.echo("\n".join(check_lines(name, shop, show_all=show_all)))
    if isinstance(shop, Faults):
        raise typer.Exit(2)


@app.command()
def schema() -> None:
    """Print the JSON Schema of a shop file."""
    from gatekeeper.shop.schema import shop_schema

    typer.echo(json.dumps(shop_schema(), indent=2, ensure_ascii=False))


def _refuse(said: str) -> NoReturn:
    """One plain sentence on standard error, exit status 2."""
    typer.echo(said, err=True)
    raise typer.Exit(2)


def main() -> None:
    """The ``gatekeeper`` command."""
    app()
