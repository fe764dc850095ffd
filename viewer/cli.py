"""The command line: the program, and where each command is.

The rooms are imported inside the commands, so that --help is quick.
"""

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from .cli_design import improve, operate, proportion, quantities, report
from .cli_desk import fitting, size, sources
from .cli_layout import analyse, check, compare, convert, view
from .cli_outputs import QUIET, say
from .outlet import patient

app = typer.Typer(
    name="elbowroom",
    help="Find where a duct layout spends its pressure, from its 3D geometry.",
    add_completion=False,
    pretty_exceptions_enable=False,
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    arguments
        Words after the program's name; those it was started with if None.

    Returns
    -------
    code
        0 done, 1 done with a failed check when asked to be strict, 2 bad input or a
        standard stream that cannot be written.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    words = list(sys.argv[1:] if arguments is None else arguments)
    with patient() as lost:
        code = _run(words)
    return 2 if lost else code


def _run(words: list[str]) -> int:
    """Do what the words say; the exit code."""
    try:
        code = app(args=words, prog_name="elbowroom", standalone_mode=False)
    except typer.Exit as done:
        return done.exit_code
    except typer.Abort:
        return 130
    except Exception as problem:
        from elbowroom.layout import BadInput

        if isinstance(problem, BadInput):
            for fault in problem.faults:
                say(fault.sentence)
        elif hasattr(problem, "format_message"):  # a word that no command knows
            message = " ".join(str(problem.format_message()).split())
            context = getattr(problem, "ctx", None)
            command = "elbowroom" if context is None else context.command_path
            say(f"{message.rstrip('.')}; see {command} --help.")
        else:
            raise
        return 2
    return code if isinstance(code, int) else 0


@app.callback(invoke_without_command=True)
def _program(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and end.")
    ] = False,
    quiet: Annotated[
        bool,
        typer.Option("--quiet", help="Say only what went wrong on standard error."),
    ] = False,
) -> None:
    QUIET.set(quiet)
    if version:
        from importlib.metadata import version as version_of

        print(version_of("elbowroom"))
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(context.get_help(), end="")  # with rich it has printed itself by then
        raise typer.Exit(2)


for _command in (
    analyse,
    compare,
    check,
    view,
    fitting,
    convert,
    size,
    report,
    operate,
    proportion,
    improve,
    quantities,
    sources,
):
    app.command()(_command)
