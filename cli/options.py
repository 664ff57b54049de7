"""Options that several commands share, each defined once."""

from __future__ import annotations

from pathlib import Path

import click


class _Utf8Path(click.Path):
    """A path whose name can be printed and handed to the readers of rasters."""

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        path = Path(super().convert(value, param, ctx))  # type: ignore[arg-type]  # click's own signature
        try:
            str(path).encode("utf-8")
        except UnicodeEncodeError:
            self.fail(f"{str(path)!r}: the name is not UTF-8; rename it", param, ctx)
        return path


PATH = _Utf8Path(path_type=Path)
as_json = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON on standard output.")
overwrite = click.option("--overwrite", is_flag=True, help="Exchange an earlier plan in the output folder.")
_FOLDER = "Folder to write; it appears whole or not at all."
out_folder = click.option("--out", "folder", type=PATH, required=True, metavar="DIR", help=_FOLDER)
folder_unless_dry = click.option("--out", "folder", type=PATH, metavar="DIR", help=_FOLDER)


drag_rule = click.option(
    "--drag-rule",
    type=click.Choice(["local", "stream", "constant"]),
    default="local",
    show_default=True,
    help="How the water loads the line.",
)


class _Band(click.ParamType[int | str]):
    """A band by its number, from 1, or by its name."""

    name = "band"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int | str:
        text = str(value)
        if not text.lstrip("+-").isdigit():
            return text
        if int(text) < 1:
            self.fail(f"{text!r} is no band; count from 1, or give its name", param, ctx)
        return int(text)


band = click.option("--band", type=_Band(), metavar="NUMBER|NAME", help="Band that holds depth, if several.")
