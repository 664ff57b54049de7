"""Catches as they were noted: marks of a GPX file and rows of a table, all kept, whatever is amiss."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from pathlib import Path

from geo.errors import Fault, InputError, InputFaults, InputFileMissing
from geo.files.gpx import GpxPoint
from geo.review.catch_record import Catch, Catches
from geo.review.catch_table import read_catch_table
from geo.review.catch_words import MOST_FISH, read_words
from geo.review.track_record import LeftOut
from geo.review.tracks import gpx_and_faults

__all__ = ["MARK_DELAY_S", "Catch", "Catches", "marks_of", "read_catches", "require_delay"]

_OURS = ("start", "end", "crossing", "spot", "hazard")
MARK_DELAY_S = 60.0  # assumed: from the strike to the mark


def read_catches(
    paths: Sequence[Path],
    *,
    mark_delay_s: float = MARK_DELAY_S,
    table_delay_s: float = 0.0,
    zone: tzinfo | None = None,
    columns: Mapping[str, str] | None = None,
    species: Mapping[str, str] | None = None,
    date_order: str | None = None,
) -> Catches:
    """Read a season's catches.

    Parameters
    ----------
    paths : GPX files, whose marks count, and tables (CSV).
    mark_delay_s : from the strike until the mark is made.
    table_delay_s : from the strike until the time that a table gives.
    zone : of clock times in tables that carry none.
    columns : our name of a column -> the table's (`catch_table.COLUMNS`); what is left out is found.
    species : the captain's words -> species.
    date_order : "month first" or "day first", for dates such as 04/05/2026.

    Raises
    ------
    InputFileMissing, InputError, InputFaults
        No such file, neither GPX nor a table, clock times without a zone, a date of two meanings: all of
        them at once. A bad row raises nothing: it is kept, with what is wrong with it.
    """
    require_delay(mark_delay_s)
    require_delay(table_delay_s)
    found: list[Catch] = []
    left: list[LeftOut] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            if path.suffix.lower() == ".gpx":
                made = marks_of(path, delay_s=mark_delay_s, species=species)
            else:
                made = read_catch_table(
                    path,
                    delay_s=table_delay_s,
                    zone=zone,
                    columns=columns,
                    species=species,
                    date_order=date_order,
                )
        except InputFileMissing:
            raise
        except InputFaults as error:
            faults += error.faults
            continue
        except InputError as error:
            faults.append(
                Fault(path.name, str(error).removeprefix(f"{path}: ").removeprefix(f"{path.name}: "))
            )
            continue
        found += made.catches
        left += made.left_out
    if faults:
        raise InputFaults(faults)
    return Catches(tuple(found), tuple(left))


def require_delay(delay_s: float) -> None:
    """Refuse a delay that nobody has."""
    if not 0.0 <= delay_s <= 3600.0:
        raise InputError(f"delay of {delay_s:g} s from strike to note; expected 0 to 3600 s (usual: 60 s)")


def marks_of(
    path: Path, *, delay_s: float = MARK_DELAY_S, species: Mapping[str, str] | None = None
) -> Catches:
    """Catches from the waypoints of a GPX file.

    A mark is a catch unless it is one of a plan's own (it says so in its type) or its name is that of a
    place, such as "launch"; those are told. Its words are read as `catch_words.read_words` says.
    """
    gpx, bad = gpx_and_faults(path)
    catches, left = [], list(bad)
    for k, point in enumerate(gpx.waypoints, 1):
        where = f"{path.name}, mark {k}{f' {point.name!r}' if point.name else ''}"
        said = read_words(_plain(point.name), _plain(point.description), species=species)
        if said.is_place or _is_ours(point):
            left.append(LeftOut(where, 1, "is a place or a fish that was not caught"))
            continue
        possible = 0 < said.count <= MOST_FISH
        catches.append(
            Catch(
                where,
                time_s=point.time.timestamp() if point.time else None,
                delay_s=delay_s,
                longitude_deg=point.longitude_deg,
                latitude_deg=point.latitude_deg,
                species=said.species,
                count=said.count if possible else 0,
                length_m=said.length_m,
                kept=said.kept,
                note=" ".join(t for t in (point.name, point.description) if t),
                trouble="" if possible else f"{said.count} fish at one mark",
            )
        )
    if not gpx.waypoints:
        left.append(LeftOut(path.name, 0, "holds no marks; tracks are read with --tracks"))
    return Catches(tuple(catches), tuple(left))


def _plain(text: str | None) -> str:
    return text or ""


def _is_ours(point: GpxPoint) -> bool:
    """Marks that a plan writes carry one of these types."""
    return (point.kind or "").casefold() in _OURS
