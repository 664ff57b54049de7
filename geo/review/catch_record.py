"""Catches as they were noted, as data."""

from __future__ import annotations

from dataclasses import dataclass

from geo.review.track_record import LeftOut


@dataclass(frozen=True)
class Catch:
    """Fish as they were noted.

    Attributes
    ----------
    place : where the note stands: file and line, or file and number of the mark.
    time_s : of the note, seconds since 1970, UTC; None where none is given or it cannot be.
    other_time_s : the second meaning of a clock time in the hour that comes twice in autumn.
    delay_s : from the strike to the note.
    longitude_deg, latitude_deg : where the boat was at the note; None where not given.
    species : "not said" where it is not.
    kept : None where not said.
    trouble : what could not be read, in words; empty where all could.
    """

    place: str
    time_s: float | None = None
    other_time_s: float | None = None
    delay_s: float = 0.0
    longitude_deg: float | None = None
    latitude_deg: float | None = None
    species: str = "not said"
    count: int = 1
    length_m: float | None = None
    kept: bool | None = None
    rig: str | None = None
    rod: str | None = None
    note: str = ""
    trouble: str = ""


@dataclass(frozen=True)
class Catches:
    """All that was noted, and the notes that are no catches."""

    catches: tuple[Catch, ...]
    left_out: tuple[LeftOut, ...] = ()
