"""Wind as people write it: where it comes from, in degrees true or by compass point."""

from __future__ import annotations

from geo.errors import InputError

_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def wind_from_deg(value: object) -> float:
    """Degrees true that the wind comes from.

    Raises
    ------
    InputError
        Neither 0 to 360 nor one of the 16 points.

    Examples
    --------
    >>> wind_from_deg(225), wind_from_deg("sw"), wind_from_deg("270")
    (225.0, 225.0, 270.0)
    """
    text = str(value).strip().upper()
    if text in _POINTS:
        return 360.0 / len(_POINTS) * _POINTS.index(text)
    try:
        degrees = float(text) if not isinstance(value, bool) else -1.0
    except ValueError:
        degrees = -1.0
    if not 0 <= degrees <= 360:
        raise InputError(
            f'{value!r} is no wind direction; write where it comes from, as 225 or "SW" (degrees true)'
        )
    return degrees % 360.0
