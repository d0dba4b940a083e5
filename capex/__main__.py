"""Command line: thin; every figure comes from the package.

Exit 0 when all went well, 2 on bad input and where the output cannot be written, with the message
and never a traceback. Imports typer, `capex.errors` and `capex.views.commands`.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from capex.errors import CapexError
from capex.views.commands import (
    comparing,
    deciding,
    entering,
    exploring,
    looking_back,
    reporting,
    verifying,
)
from capex.views.commands.console import print_error, study_file, unwritten

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Decide between separate print and cut machines and an all-in-one.",
)

for command in (
    deciding.appraise,
    deciding.explain,
    deciding.break_even,
    comparing.offers,
    exploring.explore,
    exploring.batch,
    reporting.report,
    verifying.verify,
    looking_back.year_on,
    entering.check,
    entering.schema,
    entering.orders,
    entering.trial,
    entering.trial_sheet,
):
    app.command()(command)


@app.command()
def dashboard(
    study: Annotated[
        Path | None, typer.Argument(help="Study file; the demo study where none is given.")
    ] = None,
    port: Annotated[int | None, typer.Option(help="Port on this machine.")] = None,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    address: Annotated[
        str,
        typer.Option(
            help="IPv4 address to listen at. At any other than this computer's own, whoever comes "
            "needs the token that is printed."
        ),
    ] = "127.0.0.1",
) -> None:
    """Open the dashboard in the browser, for this computer only unless an address is given."""
    from capex.views.server import serve

    if study is not None:
        study_file(study)
    serve(study, port, open_browser=browser, address=address)


def main() -> None:
    """Run the command line."""
    try:
        code = _exit_code()
        if sys.stdout is not None:
            sys.stdout.flush()  # here, where a refusal can still be said
    except OSError as error:
        code = unwritten(error)
    if code:
        sys.exit(code)


def _exit_code() -> int:
    """Run the command that was asked for; return its exit code once its errors are said."""
    try:
        ended = app(standalone_mode=False)  # with what a command raised as its exit code, if any
    except CapexError as error:
        print_error(str(error))
        return 2
    except typer.Abort:
        return 130
    except Exception as error:  # click's usage errors show themselves
        if not hasattr(error, "show"):
            raise
        error.show()
        return 2
    return ended if isinstance(ended, int) else 0


if __name__ == "__main__":
    main()
