"""The list of commands, and the one door through which every fault leaves."""

import sys
from importlib import import_module

import click

from terrain3d import __version__
from terrain3d.cli.options import print_nowhere
from terrain3d.cli.stopping import hear_no_more
from terrain3d.errors import InputError
from terrain3d.terminal import say

#: Exit statuses: bad input, a fault of ours, Ctrl-C (`start` makes another of it for other signals).
BAD_INPUT, FAULT, INTERRUPTED = 2, 1, 130

_COMMANDS = {
    "cover": "which ground each option holds, and why not: results, verdicts, stills",
    "compare": "the same, with the options ranked in a table",
    "study": "what walks through the options, what else they sense, how surely they hold",
    "stills": "the pictures alone, without a display",
    "view": "the options in a window, to turn and look at",
    "serve": "the whole job in the browser: draw the site, aim units by hand, ask why, save",
    "mounts": "places where a unit could be fixed, proposed; on request put into the site file",
    "search": "which mounts, which settings: every one judged, the best unit and the best set",
    "supply": "the voltage at each unit, the battery, what to change and what to buy",
    "sheet": "the fixing sheet: where, how high, which way, how steep, what to see",
    "walktest": "the walks that prove or break the map, and what their answers say is off",
    "pack": "what is handed over to a client: a report, a scene to turn, plan, drawing, model, maps, tables",
    "inspect": "what a survey file holds, and every doubt about it",
    "type": "a detector type checked and drawn, with its numbers; alone, the built-in ones",
}


class _Commands(click.Group):
    """Loads a command's module only when it is asked for: `--help` has nothing heavy to wait for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _COMMANDS:
            return None
        command = import_module(f"terrain3d.cli.{cmd_name}").command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="terrain3d %(version)s")
@click.option("--debug", is_flag=True, help="Show the traceback of a fault.")
@click.pass_context
def cli(ctx: click.Context, debug: bool) -> None:
    """Where outdoor dual-layer PIR units hold sloping ground, where they do not, and why.

    A planning aid, not proof of detection: walk-test every unit after fixing.
    """
    ctx.obj = {"debug": debug}


def main(arguments: list[str] | None = None) -> None:
    """Run the command line; every fault ends in one clear message and an exit status."""
    words = sys.argv[1:] if arguments is None else arguments
    sys.exit(_run(words))


def _run(words: list[str]) -> int:
    debug = "--debug" in words
    try:
        result = cli.main(args=words, prog_name="terrain3d", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except click.exceptions.NoArgsIsHelpError as error:
        say(error.ctx.get_help() if error.ctx else "")
        return BAD_INPUT
    except click.ClickException as error:
        mend = ""
        if isinstance(error, click.UsageError) and error.ctx is not None:
            mend = f"\n  to mend: {error.ctx.command_path} --help lists what it takes"
        say(f"terrain3d: {error.format_message()}{mend}", err=True)
        return BAD_INPUT
    except (KeyboardInterrupt, click.exceptions.Abort) as error:
        hear_no_more()
        # click puts an exception of its own over the one that has the notes.
        say(f"terrain3d: stopped; {_done_before(error.__cause__ or error)}", err=True)
        return INTERRUPTED
    except InputError as error:
        if debug:
            raise
        say("\n  ".join([f"terrain3d: {error}", *_notes(error)]), err=True)
        return BAD_INPUT
    except OSError as error:
        if debug:
            raise
        if error.errno is None or isinstance(error, FileNotFoundError):
            return _fault(error)
        print_nowhere()  # what waits to be printed would fail once more on the way out
        place = f"\n  where: {error.filename}" if error.filename else ""
        say(
            f"terrain3d: the system refused what was asked of it: {error.strerror}{place}\n"
            f"  to mend: make room, or see to the disk, the connection or the rights; {_done_before(error)}",
            err=True,
        )
        return BAD_INPUT
    except MemoryError as error:
        if debug:
            raise
        told = "terrain3d: it does not fit in memory; a larger [site] cell makes it smaller"
        say("\n  ".join([told, *_notes(error)]), err=True)
        return BAD_INPUT
    except Exception as error:
        if debug:
            raise
        if _is_lacking(error):
            told = (
                f"terrain3d: something that it needs is not installed: {error}\n"
                "  to mend: install terrain3d again, with what it depends on; a lib...so is the system's own,"
                " and comes in a package of its name"
            )
            say("\n  ".join([told, *_notes(error)]), err=True)
            return BAD_INPUT
        return _fault(error)


def _fault(error: Exception) -> int:
    """Say that the program is at fault."""
    say(
        f"terrain3d: a fault in the program: {type(error).__name__}: {error}\n"
        f"  to mend: {_done_before(error)}; run again with --debug and report what it shows",
        err=True,
    )
    return FAULT


def _notes(error: BaseException) -> list[str]:
    """What was done before an exception came, as whoever did it has noted."""
    return list(getattr(error, "__notes__", ()))


def _done_before(error: BaseException) -> str:
    return "; ".join(_notes(error)) or "nothing was written"


def _is_lacking(error: Exception) -> bool:
    """Whether a package of others or a library of the system is not there; a module of ours is our fault."""
    if isinstance(error, ModuleNotFoundError):
        return (error.name or "").split(".")[0] != "terrain3d"
    return isinstance(error, ImportError) and "cannot open shared object file" in str(error)
