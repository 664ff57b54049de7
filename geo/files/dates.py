"""When a file is written: now, or what SOURCE_DATE_EPOCH says, so that two runs can be equal."""

from __future__ import annotations

import os
import time
from datetime import UTC, datetime

from geo.errors import InputError


def time_of_writing() -> datetime:
    """Now, or what SOURCE_DATE_EPOCH says, UTC to the second.

    Raises
    ------
    InputError
        SOURCE_DATE_EPOCH is no time.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH") or int(time.time())
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise InputError(
            f"SOURCE_DATE_EPOCH is {epoch!r}; expected whole seconds since 1970, or leave it unset"
        ) from error
