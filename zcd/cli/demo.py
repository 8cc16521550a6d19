"""The demonstration."""

from __future__ import annotations

import click

from zcd.cli.command import Command
from zcd.cli.completion import folders
from zcd.cli.exits import exit_codes


@click.command(
    cls=Command, epilog=exit_codes("done; the repaired board passes", "done; it does not pass")
)
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
    from zcd import api
    from zcd.cli.output import draw, print_json, show
    from zcd.errors import InputError
    from zcd.jobs.demo import take_back, write_demo
    from zcd.progress import progress_bar

    made = write_demo(folder)
    case = api.diagnose(made.job, progress=progress_bar)
    verdict = api.check(made.repaired)
    report = str(made.folder / "report.html")
    try:
        draw(made.repaired, verdict, report, None, case)
    except InputError:  # a full disk
        take_back(made.folder)
        raise
    if as_json:
        from zcd.report.of_diagnosis import cautions_of_step
        from zcd.report.of_diagnosis_dict import diagnosis_to_dict
        from zcd.serialize import to_dict

        record = {
            "folder": str(made.folder),
            "diagnosis": diagnosis_to_dict(made.job, case.circuit, case.diagnosis),
            "check": to_dict(verdict),
        }
        print_json(record, cautions_of_step(case.diagnosis))
    else:
        from zcd.jobs.demo import demo_document

        show(demo_document(made, case, verdict))
    return 0 if verdict.passes else 1
