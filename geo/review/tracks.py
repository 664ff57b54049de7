"""Where the boat went: tracks from GPX as one record in order of time, and what was left out, line by line.

One captain, one boat: what two files both record counts once. The logs themselves are only read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyproj

from geo.errors import Fault, InputError, InputFaults, InputFileMissing
from geo.files.gpx import Gpx, read_gpx
from geo.review.track_cleaning import FASTEST_MPS, LONGEST_GAP_S, tracks_from
from geo.review.track_record import LeftOut, RawTrack, Tracks

_LARGEST_BYTES = 128 * 1024 * 1024


def read_tracks(
    paths: Sequence[Path],
    *,
    crs: pyproj.CRS,
    longest_gap_s: float = LONGEST_GAP_S,
    fastest_mps: float = FASTEST_MPS,
) -> Tracks:
    """Read a season's tracks.

    Parameters
    ----------
    paths : GPX 1.0 or 1.1; any number of days in each.
    crs : work CRS, metres.
    longest_gap_s, fastest_mps : as for `tracks_from`.

    Raises
    ------
    InputFileMissing, InputError, InputFaults
        Files that are not there or that are no GPX: all of them at once. Bad points raise nothing.
    """
    raw: list[RawTrack] = []
    left: list[LeftOut] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            gpx, bad = gpx_and_faults(path)
        except InputFileMissing:
            raise
        except InputError as error:
            faults.append(Fault(path.name, str(error).removeprefix(f"{path}: ")))
            continue
        left += bad
        found = _raw_tracks(gpx, path.name)
        if not found:
            left.append(LeftOut(path.name, 0, "holds no track; marks are read with --catches"))
        raw += found
    if faults:
        raise InputFaults(faults)
    made = tracks_from(raw, crs=crs, longest_gap_s=longest_gap_s, fastest_mps=fastest_mps)
    return replace(made, left_out=(*left, *made.left_out))


def gpx_and_faults(path: Path) -> tuple[Gpx, list[LeftOut]]:
    """A GPX file with its bad points left out (a bad time: only the time), and what is bad, line by line."""
    try:
        return read_gpx(path, max_bytes=_LARGEST_BYTES), []
    except InputFaults as error:
        left = [LeftOut(f.place.replace(str(path), path.name), 1, f.message) for f in error.faults]
        return read_gpx(path, bad_points="skip", max_bytes=_LARGEST_BYTES), left


def _raw_tracks(gpx: Gpx, file: str) -> list[RawTrack]:
    found = []
    for k, track in enumerate(gpx.tracks, 1):
        for j, segment in enumerate(track.segments, 1):
            part = f", segment {j}" if len(track.segments) > 1 else ""
            times = [np.nan if p.time is None else p.time.timestamp() for p in segment]
            found.append(
                RawTrack(
                    f"{file}, track {k}{f' {track.name!r}' if track.name else ''}{part}",
                    np.array(times, float),
                    np.array([p.longitude_deg for p in segment], float),
                    np.array([p.latitude_deg for p in segment], float),
                )
            )
    return found
