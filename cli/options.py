"""Options that several commands share, each defined once."""

from __future__ import annotations

from pathlib import Path

import click

as_json = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON on standard output.")
overwrite = click.option("--overwrite", is_flag=True, help="Exchange an earlier plan in the output folder.")
out_folder = click.option(
    "--out",
    "folder",
    type=click.Path(path_type=Path),
    required=True,
    metavar="DIR",
    help="Folder to write; it appears whole or not at all.",
)
