"""A plan's folder that was edited, damaged or moved since: exported as it stands, or refused in words."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from cli.main import run
from geo.errors import InputError
from geo.files.gpx import read_gpx
from geo.output.plotter import PlotterLimits
from geo.plan_export import export_plan, read_written, require_unchanged
from geo.plan_file import read_plan_file
from tests.small_plan import edited, write_plan


@pytest.fixture(scope="module")
def lake(tmp_path_factory):
    """The small plan with its folder `made`."""
    folder = tmp_path_factory.mktemp("lake")
    plan = write_plan(folder)
    assert run(["plan", str(plan), "--out", str(folder / "made")]) == 0
    return folder


@pytest.fixture
def made(lake, tmp_path):
    """A copy of the plan's folder, to be damaged."""
    return Path(shutil.copytree(lake / "made", tmp_path / "made"))


def layer_changed(made, change):
    """Put the lines' layer through `change`, as a person with the file open in another program might."""
    path = made / "plan.gpkg"
    frame = change(gpd.read_file(path, layer="troll_lines"))
    path.unlink()
    frame.to_file(path, layer="troll_lines")


def first(change):
    """A change of the first line's shape alone."""

    def changed(frame):
        shapes = list(frame.geometry)
        shapes[0] = change(shapes[0])
        return frame.set_geometry(gpd.GeoSeries(shapes, crs=frame.crs))

    return changed


DAMAGED_LAYERS = {
    "no shape": (first(lambda _: None), "is nothing"),
    "an empty one": (first(lambda _: shapely.LineString()), "is nothing"),
    "a point": (first(lambda line: shapely.Point(line.coords[0])), "is Point"),
    "an area": (first(lambda line: line.buffer(9.0)), "is Polygon"),
    "two parts": (
        first(lambda line: shapely.MultiLineString([line, shapely.affinity.translate(line, 5.0, 5.0)])),
        "is MultiLineString",
    ),
    "no length": (first(lambda line: shapely.LineString([line.coords[0]] * 2)), "has no length"),
    "no number": (
        first(lambda line: shapely.LineString([line.coords[0], (float("nan"), 1.0)])),
        "has no length, or no place",
    ),
    "no system": (lambda frame: frame.set_crs(None, allow_override=True), "coordinate system"),
    "no names": (lambda frame: frame.drop(columns="name"), "lacks shapes, names"),
    "one line twice": (lambda frame: frame.loc[[0, *frame.index]], "do not hold the same lines"),
    "one line less": (lambda frame: frame.iloc[1:], "do not hold the same lines"),
}


@pytest.mark.filterwarnings("ignore:.crs. was not provided", "ignore:invalid value")  # of the damage itself
@pytest.mark.parametrize("what", DAMAGED_LAYERS)
def test_a_layer_whose_lines_cannot_be_run_is_refused_by_name(made, what):
    change, says = DAMAGED_LAYERS[what]
    layer_changed(made, change)
    with pytest.raises(InputError, match=says):
        read_written(made)


def test_a_layer_that_is_no_geopackage_or_a_part_of_one_is_refused(made):
    path = made / "plan.gpkg"
    for data in (b"", b"no layers", path.read_bytes()[:40_000]):
        path.write_bytes(data)
        with pytest.raises(InputError, match="cannot be read"):
            read_written(made)


def changed_text(made, change):
    path = made / "plan.json"
    content = json.loads(path.read_text("utf-8"))
    change(content["troll_lines"][0], content)
    path.write_text(json.dumps(content), "utf-8")


@pytest.mark.parametrize(
    "change",
    [
        lambda line, _: line.pop("target"),
        lambda line, _: line.pop("period"),
        lambda line, _: line.pop("verdict"),
        lambda line, _: line.update(target=["inner edge"]),
        lambda line, _: line.update(name=3),
        lambda _, plan: plan["inputs"][0].pop("file"),
        lambda _, plan: plan["inputs"][0].update(sha256=None),
        lambda _, plan: plan.update(inputs=[]),
        lambda _, plan: plan.update(troll_lines=7),
        lambda _, plan: plan.update(schema="leadsman.plan/0"),
    ],
)
def test_a_summary_that_lacks_what_is_needed_is_refused(made, change):
    changed_text(made, change)
    with pytest.raises(InputError, match="is no plan that this version wrote"):
        read_written(made)


@pytest.mark.parametrize("what", ["target", "period"])
def test_a_line_of_a_target_or_period_that_the_plan_has_not_is_refused(made, lake, tmp_path, what):
    changed_text(made, lambda line, _: line.update({what: "nowhere"}))
    loaded = read_plan_file(lake / "plan.toml")
    with pytest.raises(InputError, match=f"IE1 is of {what} 'nowhere', which plan.toml does not have"):
        export_plan(read_written(made), loaded, tmp_path / "card", limits=PlotterLimits())
    assert not (tmp_path / "card").exists()


def test_a_layer_saved_in_degrees_gives_the_same_places(made, lake, tmp_path):
    loaded, limits = read_plan_file(lake / "plan.toml"), PlotterLimits()
    export_plan(read_written(made), loaded, tmp_path / "before", limits=limits)
    layer_changed(made, lambda frame: frame.to_crs(4326))
    export_plan(read_written(made), loaded, tmp_path / "after", limits=limits)
    one, other = (read_gpx(tmp_path / when / "tracks.gpx") for when in ("before", "after"))
    for ours, theirs in zip(one.points, other.points, strict=True):
        # written to 1e-6 degree: a step of the last digit where rounding falls the other way
        assert ours.longitude_deg == pytest.approx(theirs.longitude_deg, abs=1.5e-6)
        assert ours.latitude_deg == pytest.approx(theirs.latitude_deg, abs=1.5e-6)


def test_a_line_moved_by_hand_is_written_where_it_is_and_judged_anew(made, lake, tmp_path):
    # 60 m east the inner edge runs over the side of the bowl
    layer_changed(made, first(lambda line: shapely.affinity.translate(line, 60.0, 0.0)))
    loaded = read_plan_file(lake / "plan.toml")
    content = export_plan(read_written(made), loaded, tmp_path / "card", limits=PlotterLimits())
    assert any(c.startswith("IE1: doubtful now, free in the plan") for c in content["cautions"])


def test_of_two_files_of_one_name_either_one_that_changed_is_found(lake):
    """Tiles of a lake in folders by year are often named alike."""
    loaded = read_plan_file(lake / "plan.toml")
    written = read_written(lake / "made")
    plan_file = written.summary["inputs"][0]
    for digests in (("a", "b"), ("b", "a")):
        twice = [{"file": "tile.tif", "sha256": d} for d in digests]
        written.summary["inputs"] = [plan_file, *twice]

        class TwoTiles:
            path = loaded.path

            def digests(self):
                return ((plan_file["file"], plan_file["sha256"]), ("tile.tif", "a"), ("tile.tif", "b"))

        require_unchanged(written, TwoTiles())  # the order does not count
        twice[0]["sha256"] = "c"
        with pytest.raises(InputError, match=r"tile\.tif changed since"):
            require_unchanged(written, TwoTiles())


def test_names_that_read_alike_in_a_file_name_do_not_write_over_each_other(tmp_path):
    # "a!" reads as "a", which is taken; it is the third, and "a-3" is taken too
    text = edited(
        ('name = "inner edge"', 'name = "a"'),
        ('name = "sand to rock"', 'name = "a-3"'),
        ('name = "as rigged"', 'name = "a!"'),
        ('name = "open water"', 'name = "лужа"'),
    )
    plan = write_plan(tmp_path, text)
    assert run(["plan", str(plan), "--out", str(tmp_path / "made")]) == 0
    content = export_plan(
        read_written(tmp_path / "made"),
        read_plan_file(plan),
        tmp_path / "card",
        limits=PlotterLimits(),
        split="target",
    )
    files = sorted(p.name for p in (tmp_path / "card").glob("tracks-*.gpx"))
    assert files == ["tracks-a-2.gpx", "tracks-a-3.gpx", "tracks-a.gpx", "tracks-luzha.gpx"]
    assert sorted(content["files"].values()) == sorted(
        [*files, *(f.replace("tracks", "routes") for f in files)]
    )
    lines = {t.name for f in files for t in read_gpx(tmp_path / "card" / f).tracks}
    assert lines >= {t["name"] for t in content["troll_lines"]}
