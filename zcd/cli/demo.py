"""The demonstration."""

from __future__ import annotations

import click

from zcd.cli.command import Command
from zcd.cli.completion import folders
from zcd.cli.exits import EXIT_CODES


@click.command(cls=Command, epilog=EXIT_CODES)
@click.argument("folder", required=False, shell_complete=folders)
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def demo(folder: str | None, as_json: bool) -> int:
    """Diagnose an invented board, check its repair, write a report next to it.

    FOLDER is made and must not exist yet; without it, zcd-demo (or zcd-demo-2, ...) in
    the present directory.

    \b
    Example
      zcd demo
    """
    from zcd.margin.check import check as check_board
    from zcd.margin.spread import with_spread
    from zcd.show.found.findings import Case
    from zcd.show.output import atlas_of, diagnosed, draw, print_json, print_tables
    from zcd.show.paper.demo import write_demo

    made = write_demo(folder)
    atlas = atlas_of(made.job)
    found = diagnosed(atlas, made.job.measured, flags=made.job.flags)
    verdict = with_spread(check_board(made.repaired))
    report = str(made.folder / "report.html")
    draw(made.repaired, verdict, report, None, Case(made.job, atlas.circuit, found))
    if as_json:
        from zcd.show.checked.records import check_record
        from zcd.show.found.findings import cautions_of_step
        from zcd.show.found.records import diagnosis_record

        record = {
            "folder": str(made.folder),
            "diagnosis": diagnosis_record(made.job, atlas.circuit, found),
            "check": check_record(verdict),
        }
        print_json(record, cautions_of_step(found))
    else:
        from zcd.show.found.tables import print_demo

        print_tables(lambda console: print_demo(made, atlas.circuit, found, verdict, console))
    return 0 if verdict.passes else 1
