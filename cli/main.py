"""The door: commands are loaded when they are called for, errors leave as one message and an exit code.

Exit codes: 0 done, 1 error in the input, 2 usage, 3 a troll line's lures do not run free (where asked),
70 a fault of the program, 130 interrupted.
"""

from __future__ import annotations

import contextlib
import difflib
import importlib
import os
import sys
import tempfile
import traceback

import click

from geo.errors import InputFaults, PlanningError

COMMANDS = {
    "calibrate": "Fit plugs to where they ticked bottom: how sure, what contradicts, what to measure next.",
    "check": "Check lines drawn elsewhere (GPX, GeoJSON, GeoPackage, ...) against a plan.",
    "contour": "Depth contours and bands of a raster, exact and shoal-safe.",
    "depth": "How deep each rig runs, by lead and speed, and the lead for a depth.",
    "export": "A plan's tracks, marks and routes for another plotter, without planning again.",
    "inspect": "What is in a raster or vector file, and what is doubtful in it.",
    "new": "A commented starter plan around a raster, with what it cannot know left blank.",
    "plan": "Plan troll lines: map, plotter files and deck sheet from a plan file.",
    "review": "What a season produced: rod-hours, fish and rates by ground, from tracks and catches.",
    "spots": "Places worth casting at: humps, points, saddles, edges of rock and weed.",
    "transitions": "Where two bottom types meet, of a plan or of a file of bottom types.",
}
EXIT_ERROR, EXIT_USAGE, EXIT_NOT_FREE, EXIT_FAULT, EXIT_INTERRUPTED = 1, 2, 3, 70, 130


class _Lazy(click.Group):
    """A group that imports a command's module only when it is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return sorted(COMMANDS)

    def get_command(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        cmd_name: str,
    ) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = importlib.import_module(f"cli.commands.{cmd_name}").command
        return command if isinstance(command, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], COMMANDS, 1)
            hint = (
                f"did you mean {near[0]!r}?" if near else f"there are {', '.join(self.list_commands(ctx))}."
            )
            ctx.fail(f"No command {args[0]!r}; {hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name]) for name in self.list_commands(ctx)])


@click.group(
    cls=_Lazy,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Planning aid, not for navigation.",
)
@click.version_option(package_name="leadsman", prog_name="leadsman")
def leadsman() -> None:
    """Plan troll lines on a big lake, with the depth of every lure checked against the bottom.

    \b
    Examples
      leadsman inspect lake.tif
      leadsman plan plan.toml --out my_plan
    """


def main() -> None:
    """Run the command line and exit with its code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal without the letters is no fault
    sys.exit(run(sys.argv[1:]))


def run(args: list[str]) -> int:
    """Run a command line; returns the exit code instead of leaving."""
    try:
        result = leadsman.main(args, prog_name="leadsman", standalone_mode=False)
    except click.exceptions.Abort:
        return _interrupted()
    except KeyboardInterrupt:
        return _interrupted()
    except click.ClickException as error:
        error.show()
        return EXIT_USAGE
    except PlanningError as error:
        _show(error)
        return EXIT_ERROR
    except BrokenPipeError:  # whoever read our output has gone: nothing to say, and no one to say it to
        _close_output()
        return EXIT_ERROR
    except OSError as error:  # a full disk, a device, a permission: of the system, not of the program
        _close_output()
        click.echo(f"Error: {error.filename or 'output'}: {error.strerror or error}", err=True)
        return EXIT_ERROR
    except Exception:  # noqa: BLE001 - the last door: a fault of ours, told as such
        return _fault()
    return result if isinstance(result, int) else 0


def _close_output() -> None:
    """Send what is left to nowhere, or the interpreter would try to write it once more at its end."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _show(error: PlanningError) -> None:
    if isinstance(error, InputFaults):
        for fault in error.faults:
            click.echo(str(fault), err=True)
        count = len(error.faults)
        click.echo(f"{count} {'fault' if count == 1 else 'faults'}; nothing was written.", err=True)
    else:
        click.echo(f"Error: {error}", err=True)


def _interrupted() -> int:
    click.echo("Interrupted; nothing is left half written.", err=True)
    return EXIT_INTERRUPTED


def _fault() -> int:
    text = traceback.format_exc()
    try:
        handle, log = tempfile.mkstemp(prefix="leadsman-fault-", suffix=".log")
        with open(handle, "w", encoding="utf-8", errors="backslashreplace") as file:  # noqa: PTH123 - a handle
            file.write(text)
    except OSError:  # nowhere to write: the terminal is what is left
        click.echo(text, err=True)
        log = "the lines above"
    click.echo(
        f"This is a fault of the program, not of your files. What happened is in {log}; "
        "nothing is left half written.",
        err=True,
    )
    return EXIT_FAULT
