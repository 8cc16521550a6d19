"""Options for pictures, the same in every command: --plot for one, --plots for several."""

from __future__ import annotations

import click

from zcd.cli.completion import files, folders

DEFAULT_FORMAT = "png"

plot_option = click.option(
    "--plot",
    metavar="FILE",
    shell_complete=files,
    help="Draw it into a file that ends in .png or .svg.",
)
plots_option = click.option(
    "--plots", metavar="FOLDER", shell_complete=folders, help="Write the pictures into a folder."
)
format_option = click.option(
    "--format",
    "picture_format",
    type=click.Choice([DEFAULT_FORMAT, "svg"]),
    help=f"Of the pictures of --plots; {DEFAULT_FORMAT} if not given.",
)


def format_of(plots: str | None, picture_format: str | None) -> str:
    """The format of several pictures; refused where none are asked for."""
    if plots is None and picture_format is not None:
        raise click.UsageError("--format is of the pictures of --plots: give that too")
    return picture_format or DEFAULT_FORMAT
