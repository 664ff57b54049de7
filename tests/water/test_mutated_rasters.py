"""Damaged rasters of every format: read or refused in words, never worse; and the harness sees what is worse.

LEADSMAN_LONG_MUTATIONS=1 reads 10,000 mutants instead of 300.
"""

from __future__ import annotations

import os
import signal
import time
from contextlib import suppress

import netCDF4
import numpy as np
import pyproj
import pytest

from geo.errors import InputError
from geo.water.contours import contour_lake
from geo.water.inspection import raster_doubts, raster_notes
from geo.water.raster_facts import raster_facts
from geo.water.rasters import read_raster
from tests.analytic_lakes import UTM, rough, with_hole, write_tif
from tests.mutations import guarded, mutant, read_mutants
from tests.water.test_raster_formats import write_ascii, write_bag, write_s102

MUTANTS = 10_000 if os.environ.get("LEADSMAN_LONG_MUTATIONS") else 300


# ---- sound files to be damaged


def write_netcdf(path, depth_m, *, format, **packing):  # noqa: A002 - as the library calls it
    rows, columns = depth_m.shape
    with netCDF4.Dataset(path, "w", format=format) as file:
        file.Conventions = "CF-1.8"
        for name, size, first, unit in (
            ("lat", rows, 45, "degrees_north"),
            ("lon", columns, -150, "degrees_east"),
        ):
            file.createDimension(name, size)
            axis = file.createVariable(name, "f8", (name,))
            axis.units = unit
            axis[:] = first + 0.001 * np.arange(size)
        mapping = file.createVariable("crs", "i4", ())
        mapping.spatial_ref = pyproj.CRS("EPSG:4326").to_wkt()
        depth = file.createVariable("depth", "f4", ("lat", "lon"), fill_value=-9999.0, **packing)
        depth.setncatts({"units": "m", "positive": "down", "grid_mapping": "crs"})
        depth[:] = np.nan_to_num(depth_m, nan=-9999)
    return path


@pytest.fixture(scope="module")
def seeds(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sound")
    depth = with_hole(rough((31, 41), seed=1), slice(4, 9), slice(10, 20)).astype(np.float32)
    whole = np.round(rough((31, 41), seed=2) * 100).astype(np.int16)
    tiles = {"tiled": True, "blockxsize": 16, "blockysize": 16, "compress": "deflate"}
    return (
        write_tif(folder / "plain.tif", depth, nodata=np.nan),
        write_tif(folder / "tiled.tif", depth, nodata=np.nan, predictor=3, **tiles),
        write_tif(folder / "whole.tif", whole, nodata=-32768, scale=0.01, offset=0.5, compress="lzw"),
        write_tif(folder / "big.tif", np.stack((depth, depth)), BIGTIFF="YES", blockysize=4),
        write_bag(folder / "lake.bag", -depth, 0.2 + depth / 100),
        write_s102(folder / "lake.h5", depth, 0.2 + depth / 100),
        write_ascii(folder / "lake.asc", np.round(depth[:15, :20], 2), prj=None),
        write_netcdf(folder / "classic.nc", depth, format="NETCDF3_CLASSIC"),
        write_netcdf(folder / "four.nc", depth, format="NETCDF4", zlib=True, shuffle=True),
    )


def read_and_contour(path):
    band = 1 if path.name == "big.tif" else None
    grid = read_raster(path, vertical="depth", band=band, crs=UTM if path.suffix == ".asc" else None)
    low, high = grid.depth_range_m
    levels = (low + (high - low) / 3, low + (high - low) * 2 / 3)
    contour_lake(grid, charted_m=levels, edges_m=levels)


def inspect(path):
    facts = raster_facts(path)
    raster_doubts(facts)
    raster_notes(facts)


# ---- what becomes of them


@pytest.mark.parametrize("reader", [read_and_contour, inspect])
def test_no_mutant_does_worse_than_be_refused(seeds, tmp_path, reader):
    for path in seeds:
        assert guarded(reader, path) == "read"
    first = 0 if reader is read_and_contour else MUTANTS
    count = MUTANTS if reader is read_and_contour else MUTANTS // 3
    found = read_mutants(seeds, reader, folder=tmp_path, numbers=range(first, first + count))
    assert found.faults == [], str(found)
    assert sum(found.counts.values()) == count
    # the damage is neither too small to matter nor so great that nothing is tried beyond the header
    assert all(found.counts[path.name, "refused"] > 0 for path in seeds)
    assert sum(found.counts[path.name, "read"] > 0 for path in seeds) >= len(seeds) - 2


# ---- the harness itself


def test_a_mutant_follows_from_its_number():
    data = bytes(range(256)) * 20
    made = [mutant(data, number) for number in range(200)]
    assert made == [mutant(data, number) for number in range(200)]
    assert len({changed for changed, _ in made}) > 190
    assert mutant(data, 7, seed=1) != made[7]
    words = " ".join(done for _, done in made)
    for kind in ("changed", "overwritten", "cut off", "=", "swapped", "doubled", "taken out"):
        assert kind in words
    text = b"ncols 61\nnrows 41\n" + b"1.5 2.5 " * 100
    assert any("number at" in mutant(text, number)[1] for number in range(50))


def raise_key_error(_):
    raise KeyError("x")


def warn(_):
    np.float32(1) / np.float32(0)


def end_by_signal(_):
    os.kill(os.getpid(), signal.SIGSEGV)


def leave(_):
    os._exit(3)


def run_for_ever(_):
    while True:
        pass


def take_memory(_):
    bytearray(400_000_000)


def take_memory_and_hide_it(path):
    kept = []
    with suppress(MemoryError):
        while True:
            kept.append(bytes(range(256)) * 20_000)
    raise InputError(f"{path.name}: too large")


def refuse_without_name(_):
    raise InputError("something is wrong")


@pytest.mark.parametrize(
    ("reader", "what"),
    [
        (raise_key_error, "KeyError"),
        (warn, "RuntimeWarning"),
        (end_by_signal, "crash: SIGSEGV"),
        (leave, "crash: the worker left"),
        (run_for_ever, "hang: over 0.2 s"),
        (take_memory, "MemoryError"),
        (take_memory_and_hide_it, "MB taken; refused: bad.bin"),
        (refuse_without_name, "refused without the file's name"),
    ],
)
def test_harness_sees_every_kind_of_fault_and_goes_on(tmp_path, reader, what):
    good = tmp_path / "good.bin"
    good.write_bytes(bytes(100))
    bad = tmp_path / "bad.bin"
    bad.write_bytes(bytes(100))
    (tmp_path / "mutants").mkdir()

    def read(path):
        if path.name == "bad.bin":
            reader(path)

    found = read_mutants(
        [good, bad],
        read,
        folder=tmp_path / "mutants",
        numbers=range(6),
        memory_bytes=300_000_000,
        processor_s=0.2 if reader is run_for_ever else 20,
    )
    assert found.counts == {("good.bin", "read"): 3}
    assert [fault.number for fault in found.faults] == [1, 3, 5]
    assert all(what in str(fault) for fault in found.faults)


def test_memory_that_a_library_keeps_is_not_laid_to_the_next_mutant(tmp_path):
    path = tmp_path / "lake.bin"
    path.write_bytes(bytes(100))
    (tmp_path / "mutants").mkdir()
    kept = []
    found = read_mutants(
        [path],
        lambda _: kept.append(bytearray(120_000_000)),  # three of them would be too much
        folder=tmp_path / "mutants",
        numbers=range(5),
        memory_bytes=300_000_000,
    )
    assert found.faults == []
    assert found.counts == {("lake.bin", "read"): 5}


def test_worker_that_sleeps_for_ever_is_ended(tmp_path, monkeypatch):
    monkeypatch.setattr("tests.mutations.WAITING_S", 0.2)
    path = tmp_path / "lake.bin"
    path.write_bytes(b"")
    assert guarded(lambda _: time.sleep(60), path).startswith("hang: no answer in 0.2 s")
