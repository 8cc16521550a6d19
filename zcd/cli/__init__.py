"""The command line: thin; each command imports what it needs when it runs."""

from __future__ import annotations

import errno
import sys
from collections.abc import Sequence
from io import StringIO

import click

from zcd.cli.bench import bench
from zcd.cli.board import check, new
from zcd.cli.completion import answer_shell, completion
from zcd.cli.demo import demo
from zcd.cli.diagnosis import diagnose, readings
from zcd.cli.help import help_command
from zcd.cli.jobs import boards, close, jobs
from zcd.cli.map import map_command
from zcd.cli.measured import capture, retest
from zcd.cli.parts import substitute
from zcd.cli.practice import practice
from zcd.cli.report import report
from zcd.cli.schema import schema
from zcd.cli.settings import settings
from zcd.cli.spice import spice
from zcd.cli.story import story
from zcd.cli.streams import forget, open_closed_streams, tell
from zcd.cli.windings import windings
from zcd.errors import InputError, ZcdError

SHORT = """\b
zcd COMMAND -h: options, examples. Exit codes: 0 passes, 1 does not pass,
2 invalid input, 3 no solution or no simulator. zcd --version: the version."""
INTERRUPTED = 130
BROKEN_PIPE = 141
FULL = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)
"""What the system says where there is no room."""
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 88}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments; those of the process if not given.

    Returns
    -------
    int
        Exit code.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    open_closed_streams()
    try:
        answered = answer_shell(commands)
        if answered is not None:
            return answered
        with commands.make_context("zcd", arguments) as context:
            code = int(commands.invoke(context) or 0)
        sys.stdout.flush()
    except click.exceptions.Exit as leave:
        code = leave.exit_code
    except click.ClickException as error:
        _show_usage(error)
        code = error.exit_code
    except ZcdError as error:
        tell(f"zcd: {line}" for line in str(error).splitlines())
        code = error.exit_code
    except (KeyboardInterrupt, click.Abort):
        code = INTERRUPTED
    except MemoryError:
        tell(["zcd: found too little memory for this; allowed: some 600 MB for one board"])
        code = InputError.exit_code
    except BrokenPipeError:
        forget(sys.stdout)
        code = BROKEN_PIPE
    except OSError as error:
        if error.filename is None:
            forget(sys.stdout)
        tell([f"zcd: {_failed(error)}"])
        code = InputError.exit_code
    return code


def _failed(error: OSError) -> str:
    """What the system did not do: with a file, which it names, or with what has no name."""
    why = error.strerror or str(error)
    if error.filename is not None:
        return f"{error.filename}: found a file that cannot be used ({why})"
    if error.errno in FULL:
        return f"the output cannot be written ({why})"
    return f"input or output came to an end ({why})"


def _show_usage(error: click.ClickException) -> None:
    """What click says of a mistake, which quotes what was typed."""
    told = StringIO()
    error.show(told)
    tell(told.getvalue().rstrip().expandtabs(2).split("\n"))


def _show_version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from zcd.report.text import version_text

        click.echo(f"zcd {version_text()}")
        context.exit()


class Commands(click.Group):
    """The commands; a name that none has is told with the nearest, by every version of click."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Leave the lists out: the text above has every command once."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that a line begins with."""
        name = args[0]
        if not (name.startswith("-") or name in self.commands or ctx.resilient_parsing):
            from difflib import get_close_matches

            near = get_close_matches(name, self.commands, n=1)
            hint = f" Did you mean '{near[0]}'?" if near else ""
            ctx.fail(f"No such command '{name}'.{hint}")
        return super().resolve_command(ctx, args)


@click.group(name="zcd", cls=Commands, context_settings=CONTEXT, epilog=SHORT)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version and leave.",
)
def commands() -> None:
    """Find the fault in the mains sync circuit of a control board, check the repair.
    The mains side is live: local codes and licensed practice first.

    \b
      demo         Try all of it on an invented board. Guides: zcd help
      new          Describe a board: answer questions, or start from another.
      readings     Print what a meter shows on a good board.
      diagnose     Enter readings, find the fault.
      capture      Check a scope's CSV file, or use it as readings.
      substitute   Find replacement parts.
      check        Check a board or its repair: pass, warning or fail.
      retest       Judge the repaired board by what you measure.
      close, report   Close a job with what was found; write the job sheet.
      story        Show which fault raises which error flags, and why.
      windings     Name the leads of a fan before you connect it.
      map          Show how low mains or CTR may fall before sync is lost.
      spice        Check zcd's figures of a board with ngspice.
      bench        Do all of this on a page in your browser.
      jobs, boards   List the job files or the board files in a folder.
      practice     Learn to find faults: zcd hides one, you measure.
      settings, completion, schema   Set up zcd, your shell, your editor.
    """


for command in (
    new, check, map_command, readings, diagnose, capture, retest, story, windings, substitute,
    practice, spice, report, close, jobs, boards, bench, demo, settings, schema, completion,
    help_command,
):  # fmt: skip
    commands.add_command(command)
