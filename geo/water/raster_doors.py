"""The formats that are let in, told by their first bytes, and the door of each."""

from __future__ import annotations

import re
from pathlib import Path

from geo.errors import InputError, InputFileMissing
from geo.water.gdal_rasters import TIFF_STARTS, open_gdal
from geo.water.raster_source import RasterSource

# first bytes of a file -> GDAL's drivers that may open it; a .tif can be a virtual file that reads another
_HDF5 = b"\x89HDF\r\n\x1a\n"
_STARTS = (*((start, "GTiff") for start in TIFF_STARTS), (b"CDF", "netCDF"))


def open_source(
    path: Path, *, band: int | str | None = None, missing: float | None = None, crs: str | None = None
) -> RasterSource:
    """Open a raster of any format that is let in.

    Parameters
    ----------
    path : GeoTIFF, netCDF, BAG, S-102 or Esri ASCII grid.
    band : number (from 1) or name of the band; None takes the only one, or the one whose name says depth.
    missing : a value that means "no data", if the file does not say so itself.
    crs : its coordinate system, if the file names none.

    Raises
    ------
    InputFileMissing, InputError
        No file, a format that is not let in, a header that cannot be true, no such band, no georeference.
    """
    driver = _format_of(path)
    if driver == "netCDF":
        from geo.water.netcdf import open_netcdf

        return open_netcdf(path, band=band, missing=missing, crs=crs)
    return open_gdal(path, driver=driver, band=band, missing=missing, crs=crs)


def _format_of(path: Path) -> str:
    """GDAL's driver by the first bytes; the name of a file proves nothing."""
    if re.match(r"[a-zA-Z][a-zA-Z0-9+.-]+:/|/vsi", str(path)):
        raise InputError(f"{path}: is an address; only files on this machine are read: download it first")
    try:
        if not path.exists():
            raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
        if not path.is_file():
            kind = "a folder" if path.is_dir() else "no plain file"
            raise InputError(f"{path}: is {kind}; expected a raster file")
        with path.open("rb") as file:
            start = file.read(512)
    except InputFileMissing:
        raise
    except OSError as error:
        raise InputError(
            f"{path.name}: cannot be read ({error.strerror}); check its name and permissions"
        ) from error
    for magic, driver in _STARTS:
        if start.startswith(magic):
            return driver
    if start.startswith(_HDF5):
        return _hdf5_format(path)
    if re.match(rb"\s*(ncols|nrows|[xy]ll\w+|cellsize|dx|dy|nodata\w*)\b", start, re.IGNORECASE):
        return "AAIGrid"
    raise InputError(
        f"{path.name}: is no bathymetry raster that is read here (GeoTIFF, netCDF, BAG, S-102, Esri ASCII "
        "grid); convert it to GeoTIFF, or download it again if it is damaged"
    )


def _hdf5_format(path: Path) -> str:
    """BAG, S-102 and netCDF-4 share one container; the groups inside tell which it is."""
    from geo.water.netcdf_file import groups_in

    groups = set(groups_in(path))
    if "BAG_root" in groups:
        return "BAG"
    return "S102" if "BathymetryCoverage" in groups else "netCDF"
