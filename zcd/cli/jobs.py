"""The bench's own record: the jobs of a folder, and closing one."""

from __future__ import annotations

import click

from zcd.cli.command import Command
from zcd.cli.completion import faults, files, folders
from zcd.cli.exits import exit_codes


@click.command(cls=Command, epilog=exit_codes(solver=""))
@click.argument("folder", default=".", shell_complete=folders)
@click.option("--find", "words", default="", metavar="WORDS", help="Only jobs with all of them.")
@click.option("--open/--closed", "is_open", default=None, help="Only open jobs, or closed ones.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the table.")
def jobs(folder: str, words: str, is_open: bool | None, as_json: bool) -> int:
    """List the jobs of a folder: open ones first, then closed ones, the latest first.

    A search looks at names, boards, flags, notes, and at what was found and done.

    \b
    Examples
      zcd jobs bench --find "dryer drift"
      zcd jobs --open
    """
    from zcd.cli.output import print_json, show
    from zcd.diagnosis.job_history import read_job_history, search
    from zcd.report.document import Document, Section
    from zcd.report.of_job_history import job_history_table, job_history_to_dict

    record = read_job_history(folder)
    result = search(record, words)
    if is_open is not None:
        result = tuple(e for e in result if (e.closed is None) is is_open)
    if as_json:
        print_json(job_history_to_dict(result, folder))
    else:
        table = job_history_table(result, len(record))
        show(Document(title="", sections=(Section("", (table,)),)))
    return 0


@click.command(cls=Command, epilog=exit_codes(solver=""))
@click.argument("folder", default=".", shell_complete=folders)
@click.option("--find", "words", default="", metavar="WORDS", help="Only boards with all of them.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the table.")
def boards(folder: str, words: str, as_json: bool) -> int:
    """List the boards that are described in a folder.

    A search looks at file names, board names, topologies, optocouplers and diodes.

    \b
    Examples
      zcd boards bench --find "dryer"
      zcd new --like board.toml second.toml
    """
    from zcd.cli.output import print_json, show
    from zcd.diagnosis.boards import find_boards
    from zcd.report.document import Document, Section
    from zcd.report.of_boards import boards_table, boards_to_dict

    entries = find_boards(folder, words)
    if as_json:
        print_json(boards_to_dict(entries, folder))
    else:
        show(Document(title="", sections=(Section("", (boards_table(entries),)),)))
    return 0


@click.command(cls=Command, epilog=exit_codes(solver=""))
@click.argument("job_file", metavar="JOB", shell_complete=files)
@click.option(
    "--found",
    required=True,
    metavar="FAULT",
    shell_complete=faults,
    help='What it was, such as "R7 burnt".',
)
@click.option("--repair", default="", metavar="TEXT", help="What was done about it.")
@click.option("--json", "as_json", is_flag=True, help="Tell what was written as a JSON object.")
def close(job_file: str, found: str, repair: str, as_json: bool) -> int:
    """Close a job: write into its file what the fault was.

    A part and a word of the trade will do ("R7 burnt"); where several faults fit, they are offered.
    Closed jobs change the probabilities of later diagnoses in the same folder.

    \b
    Example
      zcd close job.toml --found "R7 gone high" --repair "R7 and R8 renewed"
    """
    from datetime import date

    from zcd.circuit.build import build_circuit
    from zcd.cli.output import print_json, say
    from zcd.diagnosis.faults import faults_of
    from zcd.diagnosis.job import load_job
    from zcd.errors import plain
    from zcd.jobs.closing import close_job, find_fault
    from zcd.report.of_diagnosis_text import fault_words
    from zcd.report.of_retest_record import not_passed_line

    job = load_job(job_file)
    fault = find_fault(faults_of(build_circuit(job.board)), found)
    today = date.today()
    path = close_job(job, fault, repair, today)
    if as_json:
        print_json({"file": str(path), "found": fault.key, "closed": today.isoformat()})
    else:
        if line := not_passed_line(job.retests):
            say(plain(f"Closed all the same: {line}"))
        say(plain(f"{path} closed: {fault_words(fault.key)}. Next: zcd report {path}"))
    return 0
