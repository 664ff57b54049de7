"""Where the grid of a netCDF file lies: coordinates, their spacing, the coordinate system."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import affine
import numpy as np
import pyproj

from geo.errors import InputError
from geo.water.levels import Vertical
from geo.water.netcdf_file import FARTHEST, File, Floats, Header, Missing, Variable, few, scaling
from geo.water.raster_source import flat_crs, named_crs, one_line, unit_from_words

_EVEN_RATIO = 0.02  # of a cell: what a coordinate may stand off an even grid (assumed)
_WGS_84 = pyproj.CRS.from_epsg(4326)
_MERCATOR_EPSG = {"spherical": 3857, "ellipsoidal": 3395}


@dataclass(frozen=True)
class _Axis:
    """A coordinate: `place` of its dimension in the grid, `degrees` or `unit_m` where it states its unit.

    `noise` is what rounding to float32 may have moved its values by.
    """

    name: str
    place: int
    values: Floats
    degrees: bool
    unit_m: float | None
    noise: float

    @property
    def step(self) -> float:
        return float(self.values[-1] - self.values[0]) / (len(self.values) - 1)

    def scaled(self, factor: float) -> _Axis:
        return replace(self, values=self.values * factor, noise=self.noise * factor)


@dataclass(frozen=True)
class Frame:
    """Where a grid lies: which dimensions run down and across, and whether columns are to be turned."""

    down: int
    across: int
    transform: affine.Affine
    crs: pyproj.CRS | None
    crs_counts: Vertical | None
    notes: tuple[str, ...] = ()
    flip: bool = False


def frame_of(file: File, head: Header, grid: Variable, named: str | None) -> Frame:
    """Where the cells of a grid lie, in the order that rows are read; `named` is the plan's CRS."""
    name = file.path.name
    mapping = head.mapping_of(grid)
    stated, counts = (None, None) if named is not None else _stated_crs(mapping, grid, name)
    six = mapping.numbers("GeoTransform") if mapping else []
    corners = affine.Affine.from_gdal(*six) if len(six) == 6 and all(map(math.isfinite, six)) else None
    axes = _axes_by_ranges(file, head, grid) if grid.by_ranges else _axes(file, head, grid)
    if axes is None:
        if corners is None or not 0 < abs(corners.determinant) < math.inf:
            raise _unplaced(head, grid, name)
        down, across = grid.wide
        crs = named_crs(named) if named is not None else stated
        return Frame(down, across, corners, crs, counts)
    x, y = axes
    if corners is not None and (corners.b or corners.d):
        crs = named_crs(named) if named is not None else stated
        return Frame(y.place, x.place, _rotated(corners, x, y, name), crs, counts)
    crs, notes = _crs(x, y, stated, named, name)
    x, y, crs, more = _laid_even(x, y, crs, name)
    flip = x.step < 0
    left = x.values[-1] if flip else x.values[0]
    wide, high = abs(x.step), y.step
    transform = affine.Affine(wide, 0, float(left) - wide / 2, 0, high, float(y.values[0]) - high / 2)
    return Frame(y.place, x.place, transform, crs, counts, (*notes, *more), flip)


def _stated_crs(
    mapping: Variable | None, grid: Variable, name: str
) -> tuple[pyproj.CRS | None, Vertical | None]:
    """The file's own horizontal system, and which way the vertical half of a compound one counts."""
    attrs = {k: v for k, v in mapping.attrs.items() if k != "GeoTransform"} if mapping else {}
    wkt = grid.text("esri_pe_string") or str(attrs.get("esri_pe_string", ""))
    try:
        if attrs.keys() & {"grid_mapping_name", "crs_wkt", "spatial_ref"}:
            own = pyproj.CRS.from_json(pyproj.CRS.from_cf(attrs).to_json())  # its own kinds lack to_2d
        elif wkt:
            own = pyproj.CRS.from_wkt(wkt)
        else:
            return None, None
        flat = flat_crs(own)
    except (pyproj.exceptions.CRSError, LookupError, TypeError, ValueError, AttributeError) as error:
        raise InputError(
            f"{name}: its coordinate system is not understood ({one_line(error)}); "
            'add the right one to [water], as in crs = "EPSG:26916"'
        ) from error
    if flat.is_geographic and flat.is_derived:
        raise _moved_pole(name)
    direction = own.sub_crs_list[-1].axis_info[-1].direction if own.is_compound else ""
    counts: dict[str, Vertical] = {"up": "elevation", "down": "depth"}
    return flat, counts.get(direction)


def _moved_pole(name: str) -> InputError:
    return InputError(
        f"{name}: lies on a globe with a moved pole; "
        "warp it to latitude and longitude or a map projection first"
    )


def _axes(file: File, head: Header, grid: Variable) -> tuple[_Axis, _Axis] | None:
    """The coordinates of a grid's two dimensions, x first; None where they have none."""
    name = file.path.name
    found = [_coordinate(head, grid, grid.dims[i]) for i in grid.wide]
    named = [v for v in found if v is not None]
    if not named:
        return None
    if len(named) < 2 or sorted(v.runs for v in named) != ["x", "y"]:
        says = ", ".join(f"{v.name} ({v.runs or 'no direction'})" for v in named)
        raise InputError(
            f"{name}: the dimensions {' and '.join(grid.dims[i] for i in grid.wide)} of {grid.name} have the "
            f"coordinates {says}; expected one to the east and one to the north: "
            "write them as lon and lat, or x and y"
        )
    axes = {v.runs: _axis(file, v, place) for v, place in zip(named, grid.wide, strict=True)}
    return axes["x"], axes["y"]


def _coordinate(head: Header, grid: Variable, dim: str) -> Variable | None:
    """The variable that holds the coordinates of a dimension: it says so, or bears the dimension's name."""
    along = [v for v in head.variables.values() if v.dims == (dim,) and v.dtype is not None]
    listed = grid.text("coordinates").split()
    along.sort(key=lambda v: (not v.runs, v.name != dim, v.name not in listed))
    return along[0] if along and (along[0].runs or along[0].name == dim) else None


def _axis(file: File, variable: Variable, place: int) -> _Axis:
    name = file.path.name
    raw = file.values(variable, (slice(None),), what=variable.name)
    packing = scaling(variable, name)
    with np.errstate(over="ignore", invalid="ignore"):
        values = raw.astype(float) * packing[0] + packing[1]
        bad = ~(np.abs(values) < FARTHEST) | Missing(variable, packing=packing).where(raw)
    if bad.any():
        raise InputError(
            f"{name}: the coordinate {variable.name} has {int(bad.sum())} of {len(bad)} values missing; "
            "download the file again, or write it anew with all coordinates"
        )
    if variable.text("standard_name").startswith("grid_"):
        raise _moved_pole(name)
    units = variable.text("units")
    unstated = not units and variable.name.lower().startswith(("lon", "lat"))
    unstated = unstated or (not units and variable.text("standard_name") in ("longitude", "latitude"))
    if units.lower().startswith("rad"):
        raise InputError(
            f"{name}: {variable.name} counts in {units}; warp the grid to degrees or metres first"
        )
    return _axis_of(
        variable.name,
        place,
        values,
        degrees=unstated or units.lower().startswith("deg"),
        unit_m=unit_from_words(units),
    )


def _axis_of(name: str, place: int, values: Floats, *, degrees: bool, unit_m: float | None) -> _Axis:
    rounded = values.astype(np.float32)
    coarse = bool(np.all(rounded == values))
    noise = float(np.spacing(np.abs(rounded).max())) if coarse else 0.0
    return _Axis(name, place, values, degrees, unit_m, noise)


def _axes_by_ranges(file: File, head: Header, grid: Variable) -> tuple[_Axis, _Axis]:
    """The coordinates that two ranges give: of nodes, or, with `node_offset`, of the edges of cells."""
    rows, columns = grid.shape
    offset = bool((*grid.numbers("node_offset"), 0)[0])
    axes = []
    for key, place, count in (("x_range", 1, columns), ("y_range", 0, rows)):
        ends = few(file, head, key)
        if len(ends) != 2 or not -FARTHEST < ends[0] < ends[1] < FARTHEST:
            raise InputError(
                f"{file.path.name}: {key} = {ends}; expected two rising numbers; download it again"
            )
        half = (ends[1] - ends[0]) / count / 2 if offset else 0.0
        values = np.linspace(ends[0] + half, ends[1] - half, count)
        units = head.variables[key].text("units")
        axes.append(
            _axis_of(
                key,
                place,
                values if place else values[::-1],
                degrees=units.lower().startswith("deg"),
                unit_m=unit_from_words(units),
            )
        )
    x, y = axes
    spacing = few(file, head, "spacing") if "spacing" in head.variables else []
    if len(spacing) == 2 and not np.allclose(np.abs((x.step, y.step)), spacing, rtol=_EVEN_RATIO):
        raise InputError(
            f"{file.path.name}: spacing = {spacing}, and its ranges make {x.step:g} and {-y.step:g}; "
            "convert it to a grid with coordinates first"
        )
    return x, y


def _unplaced(head: Header, grid: Variable, name: str) -> InputError:
    curved = [v.name for v in head.variables.values() if len(v.wide) == 2 and v.runs]
    if curved:
        return InputError(
            f"{name}: {grid.name} lies on a curvilinear grid ({' and '.join(curved)} have two dimensions); "
            "resample it to an even grid of latitude and longitude or a map projection first"
        )
    return InputError(
        f"{name}: {grid.name} has no coordinates (variables named {' and '.join(grid.dims)}) and no "
        "georeference; use the georeferenced file, or write one with its coordinates"
    )


def _rotated(corners: affine.Affine, x: _Axis, y: _Axis, name: str) -> affine.Affine:
    """Where a turned grid lies. Its writer leaves the turn out of the coordinates, but not the row order."""
    t = corners
    rows = len(y.values)
    upward = y.step * t.e < 0
    north = t.f + t.e * (np.arange(rows)[:: -1 if upward else 1] + 0.5)
    east = t.c + t.a * (np.arange(len(x.values)) + 0.5)
    off = max(np.abs(x.values - east).max(), np.abs(y.values - north).max())
    if not off <= _EVEN_RATIO * min(abs(t.a), abs(t.e)):
        raise InputError(
            f"{name}: its GeoTransform is that of a turned grid, and its coordinates {x.name} and {y.name} "
            "are not made from it; write it as GeoTIFF, or warp it to an upright grid"
        )
    return t * affine.Affine.translation(0, rows) * affine.Affine.scale(1, -1) if upward else t


def _crs(
    x: _Axis, y: _Axis, stated: pyproj.CRS | None, named: str | None, name: str
) -> tuple[pyproj.CRS | None, tuple[str, ...]]:
    """The system that the coordinates themselves count in."""
    degrees, lengths = x.degrees and y.degrees, x.unit_m is not None
    if x.degrees != y.degrees:
        one, other = (x, y) if x.degrees else (y, x)
        raise InputError(f"{name}: {one.name} counts in degrees and {other.name} does not; download it again")
    crs = stated if named is None else named_crs(named)
    # a file may well give the degrees of a projected grid, by its own datum
    if crs is not None and (lengths if crs.is_geographic else degrees and named is not None):
        said = f"its coordinate system ({crs.name})" if named is None else f'crs = "{named}"'
        raise InputError(
            f"{name}: {x.name} and {y.name} count in {'degrees' if degrees else 'lengths'}, and {said} does "
            "not; name the system of these coordinates in [water] crs"
        )
    if named is not None or not degrees:
        return crs, ()
    if crs is None:
        return _WGS_84, (f"{name} names no datum for its latitudes and longitudes: WGS 84 is taken.",)
    globe = crs.geodetic_crs
    if globe is None or globe.ellipsoid is None or globe.ellipsoid.inverse_flattening == 0:
        return _WGS_84, (f"{name} counts latitudes and longitudes on a sphere: WGS 84 is taken.",)
    if globe.name in ("undefined", "unknown"):
        return _WGS_84, (f"{name} names no datum for its latitudes and longitudes: WGS 84 is taken.",)
    return flat_crs(globe), ()


def _laid_even(
    x: _Axis, y: _Axis, crs: pyproj.CRS | None, name: str
) -> tuple[_Axis, _Axis, pyproj.CRS | None, tuple[str, ...]]:
    """Coordinates that stand evenly in the CRS that is returned with them.

    Raises
    ------
    InputError
        They stand evenly neither as they are nor, as latitudes, in Mercator.
    """
    notes: tuple[str, ...] = ()
    if crs is not None and crs.is_geographic:
        x, notes = _continuous(x, y, name)
    elif crs is not None and x.unit_m is not None and y.unit_m is not None:
        metres = crs.axis_info[0].unit_conversion_factor
        x, y = x.scaled(x.unit_m / metres), y.scaled(y.unit_m / metres)
    if _off_ratio(x.values) <= _tolerance_ratio(x):
        if _off_ratio(y.values) <= _tolerance_ratio(y):
            return x, y, crs, notes
        if crs is not None and crs.is_geographic:
            kind, found_x, found_y, mercator = _mercator(x, y, crs)
            if _off_ratio(found_y.values) <= _tolerance_ratio(found_y):
                note = f"{name}: its rows are even in {kind} Mercator, not in degrees; read as such."
                return found_x, found_y, mercator, (*notes, note)
    bad = max((x, y), key=lambda axis: _off_ratio(axis.values) - _tolerance_ratio(axis))
    raise InputError(
        f"{name}: {bad.name} is spaced unevenly (up to {_off_ratio(bad.values):.2g} cells off an even grid); "
        "resample it to an even grid first"
    )


def _off_ratio(values: Floats) -> float:
    """How far values stand off the even ones between the first and the last, in steps."""
    step = abs(float(values[-1] - values[0])) / (len(values) - 1)
    even = np.linspace(values[0], values[-1], len(values))
    return float(np.abs(values - even).max()) / step if 0 < step < math.inf else math.inf


def _tolerance_ratio(axis: _Axis) -> float:
    """What a coordinate may stand off, in steps: more where float32 cannot hold it better."""
    closest = float(np.abs(np.diff(axis.values)).min())
    return max(_EVEN_RATIO, min(axis.noise / closest, 0.5) if closest > 0 else 0.0)


def _continuous(x: _Axis, y: _Axis, name: str) -> tuple[_Axis, tuple[str, ...]]:
    """Longitudes without a jump, between -180 and 180 unless the grid lies across."""
    values = x.values
    if np.abs(y.values).max() > 90 or np.abs(values).max() > 540:
        raise InputError(
            f"{name}: {x.name} runs from {values[0]:g} to {values[-1]:g} and {y.name} from "
            f"{y.values[0]:g} to {y.values[-1]:g}, which are no degrees; "
            "name the system of these coordinates in [water] crs, or download the file again"
        )
    notes: tuple[str, ...] = ()
    if np.abs(np.diff(values)).max() > 180:
        values = np.unwrap(values, period=360)
        notes = (f"{name}: its longitudes are read on across 180 degrees.",)
    if values.min() >= 180 or values.max() <= -180:
        turns = -360 if values.min() >= 180 else 360
        values = values + turns
        notes = (f"{name}: {turns:+d} degrees are added to its longitudes.",)
    return replace(x, values=values), notes


def _mercator(x: _Axis, y: _Axis, crs: pyproj.CRS) -> tuple[str, _Axis, _Axis, pyproj.CRS]:
    """Degrees as metres of the Mercator projection, on sphere or ellipsoid, that fits the rows better."""
    ends = x.values[0], x.values[-1]
    origin = 0.0 if max(map(abs, ends)) <= 180 else float(round(sum(ends) / 2))
    tried = []
    for kind, code in _MERCATOR_EPSG.items():
        mercator = _mercator_on(crs, code, origin_deg=origin)
        to = pyproj.Transformer.from_crs(crs, mercator, always_xy=True)
        north = np.asarray(to.transform(np.full(len(y.values), origin), y.values)[1])
        east = to.transform([origin, origin + 1], [0, 0])[0]
        degree_m = east[1] - east[0]
        stretch = (
            float(np.abs(np.diff(north) / np.diff(y.values)).max()) if np.diff(y.values).all() else math.inf
        )
        eastward = replace(x, values=(x.values - origin) * degree_m, noise=x.noise * degree_m)
        tried.append((kind, eastward, replace(y, values=north, noise=y.noise * stretch), mercator))
    return min(tried, key=lambda one: _off_ratio(one[2].values))


def _mercator_on(crs: pyproj.CRS, code: int, *, origin_deg: float) -> pyproj.CRS:
    """A Mercator projection by EPSG's code, of the raster's own latitudes and longitudes."""
    known = pyproj.CRS.from_epsg(code)
    if crs == _WGS_84 and origin_deg == 0:
        return known
    parts = known.to_json_dict()
    for parameter in parts["conversion"]["parameters"]:
        if parameter["name"] == "Longitude of natural origin":
            parameter["value"] = origin_deg
    kept = {key: parts[key] for key in ("$schema", "type", "conversion", "coordinate_system")}
    kept |= {"name": f"{crs.name} / Mercator from {origin_deg:g}", "base_crs": crs.to_json_dict()}
    return pyproj.CRS.from_json_dict(kept)
