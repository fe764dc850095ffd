"""The command line: the program, and where each command is.

The rooms are imported inside the commands, so that --help is quick.
"""

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from .cli_design import improve, operate, proportion, quantities, report
from .cli_desk import fitting, reference, size, sources
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
    with suppress(ValueError):
        if int(os.environ.get("COLUMNS", "")) <= 0:  # a terminal without a size
            del os.environ["COLUMNS"]
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


class _OnceCommand(TyperCommand):
    """A command that refuses an option given again, of which the last would hold."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Take the words; BadInput where an option that holds one has several."""
        _, left, order = self.make_parser(ctx).parse_args(args=list(args))
        is_help = any(word.is_eager for word in order)
        if left and not is_help and any(word.name == "route" for word in self.params):
            raise self._one_file(left)
        for place, word in enumerate(order):
            may_again = is_help or word.multiple or getattr(word, "is_flag", False)
            if word in order[:place] and not may_again:
                raise self._given_again(word.opts[0])
        return super().parse_args(ctx, args)

    def _one_file(self, left: list[str]) -> Exception:
        from elbowroom.layout import listed, refusal

        behind = {"--return": "a return side", "--obstacles": "solids"}
        taken = {name for word in self.params for name in word.opts}
        remedies = [
            f"give {what} behind {n}" for n, what in behind.items() if n in taken
        ]
        remedies += ["draw one job in one file", "compare options with compare"]
        return refusal(
            str(self.name),
            f"a job is one file, and {listed(left)} {'are' if left[1:] else 'is'} more",
            f"{', '.join(remedies[:-1])}, or {remedies[-1]}",
        )

    def _given_again(self, option: str) -> Exception:
        from elbowroom.layout import refusal

        what, remedy = "it is given more than once", "give it once"
        if option == "--schedule" and any(word.nargs == -1 for word in self.params):
            what += ", and one holds for every drawing"
            remedy += (
                ", or leave it out and write the schedule of each drawing in "
                "NAME.schedule.toml beside it"
            )
        return refusal(option, what, remedy)


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
    reference,
):
    app.command(cls=_OnceCommand)(_command)
