"""Over which depths of bottom a spread fits as it is rigged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from geo.troll_lines.checked_line import RodSetting


@dataclass(frozen=True)
class Fit:
    """The range of bottom depths (now) over which every rod with a lead of its own runs as wanted.

    `deep_m` less than `shallow_m` means that no depth fits: the rods run too far apart for the range.
    `sd_m` is how sure both ends are; `deepest`, `shallowest` name the rods that set them, and run at
    `deepest_m` (at the speed where it runs deepest) and `shallowest_m`.
    """

    shallow_m: float
    deep_m: float
    sd_m: float
    deepest: str
    shallowest: str
    deepest_m: float
    shallowest_m: float

    @property
    def short_by_m(self) -> float:
        """By how much the rods run too far apart; 0 where some depth fits."""
        return max(self.shallow_m - self.deep_m, 0.0)


def fit_of(rods: Sequence[RodSetting], *, above_bottom_m: tuple[float, float]) -> Fit | None:
    """Work out where a spread fits; None where no rod has a lead of its own, so that anything fits.

    Parameters
    ----------
    rods : as they are set; those without a lead are worked out afterwards and do not count.
    above_bottom_m : least and greatest distance wanted between lure and bottom.

    Notes
    -----
    Over a range of speeds the deepest lure counts where it runs deepest, the shallowest where it runs
    shallowest: bottom depth from ``deepest + least`` to ``shallowest + greatest``.
    """
    runs = [(rod, [t.at(rod.lead_m) for t in rod.tables]) for rod in rods if rod.lead_m is not None]
    if not runs:
        return None
    deep_rod, deep = max(((rod, run) for rod, both in runs for run in both), key=lambda r: r[1].depth_m)
    high_rod, high = min(((rod, run) for rod, both in runs for run in both), key=lambda r: r[1].depth_m)
    low, most = above_bottom_m
    return Fit(
        shallow_m=deep.depth_m + low,
        deep_m=high.depth_m + most,
        sd_m=max(deep.sd_m, high.sd_m),
        deepest=deep_rod.rod,
        shallowest=high_rod.rod,
        deepest_m=deep.depth_m,
        shallowest_m=high.depth_m,
    )
