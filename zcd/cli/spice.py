"""The command that asks a circuit simulator for a second opinion."""

from __future__ import annotations

import click

from zcd.cli.command import Command, full_option
from zcd.cli.completion import faults, files
from zcd.cli.exits import SIMULATOR, exit_codes
from zcd.cli.given import job_given
from zcd.cli.pictures import plot_option
from zcd.cli.ranges import FiniteRange

TERMINAL = "-"


@click.command(
    cls=Command,
    epilog=exit_codes(
        "zcd and ngspice agree, or a netlist was written", "they disagree", solver=SIMULATOR
    ),
)
@click.argument("file", metavar="BOARD|JOB", shell_complete=files)
@click.option(
    "--fault",
    metavar="KEY",
    shell_complete=faults,
    default="healthy",
    help='Put in a fault such as "R7 open".',
)
@click.option(
    "--severity",
    type=FiniteRange(0.0, 1.0),
    default=0.5,
    show_default=True,
    help="How far the fault has gone.",
)
@click.option(
    "-r",
    "--reading",
    "written",
    multiple=True,
    metavar="TEXT",
    help='Only this reading, such as "dc pin logic0" or "ohm R7"; may be repeated.',
)
@click.option(
    "--netlist",
    metavar="FILE",
    shell_complete=files,
    help='Write the netlist ("-": print it) and stop; with one --reading, the meter is in it.',
)
@click.option(
    "--level",
    type=click.Choice(["equations", "device"]),
    default="equations",
    show_default=True,
    help="Model used in the netlist: zcd's equations or a transistor.",
)
@plot_option
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead.")
@full_option
def spice(
    file: str,
    fault: str,
    severity: float,
    written: tuple[str, ...],
    netlist: str | None,
    level: str,
    plot: str | None,
    as_json: bool,
    full: bool,
) -> int:
    """Compare with the circuit simulator ngspice.

    The board is simulated twice: with the equations that this tool uses (both must
    agree) and with a published transistor model as the optocoupler's output (the
    difference shows what the equations leave out). All readings of the bench card are
    compared, each with the meter's own load.

    \b
    Examples
      zcd spice board.toml
      zcd spice board.toml --fault "R7 open" --reading "ac R7"
      zcd spice board.toml --level device --netlist board.cir
    """
    from zcd import api
    from zcd.cli.output import print_result, write_netlist
    from zcd.files import require_picture, require_place
    from zcd.progress import progress_bar

    if netlist not in (None, TERMINAL):
        require_place(netlist)
    if plot is not None:
        require_picture(plot)
    job = job_given(file)
    if netlist is not None:
        path = None if netlist == TERMINAL else netlist
        write_netlist(path, job, fault, severity, level, written, as_json=as_json)
        return 0
    result = api.compare_spice(
        job.board,
        fault=fault,
        severity=severity,
        readings=written,
        meter=job.meter,
        progress=progress_bar,
    )
    print_result(result, as_json, full=full, plot=plot)
    return 0 if result.agrees else 1
