"""`leadsman export`: a written plan for another plotter, read back by a general GPX library."""

from __future__ import annotations

import itertools
import json

import gpxpy
import pytest

from tests.small_plan import EPSG  # noqa: F401 - the lake is made with it


@pytest.fixture
def made(cli, plan, tmp_path):
    """The small plan's folder, beside its plan file."""
    folder = tmp_path / "lake" / "made"
    assert cli("plan", plan, "--out", folder).code == 0
    return folder


def read(path):
    return gpxpy.parse(path.read_text("utf-8"))


def places(parts):
    return [[(p.longitude, p.latitude) for p in part.points] for part in parts]


def test_with_the_plans_own_limits_it_writes_the_very_files_of_the_plan(cli, made, tmp_path):
    ran = cli("export", made, "--out", tmp_path / "card", "--json")
    assert ran.code == 0, ran.err
    files = json.loads(ran.out)["files"]
    assert files == {"tracks": "tracks.gpx", "routes": "routes.gpx"}
    for ours, theirs in ((files["tracks"], "plan.gpx"), (files["routes"], "routes.gpx")):
        assert (tmp_path / "card" / ours).read_bytes() == (made / theirs).read_bytes()
    assert json.loads((tmp_path / "card" / "export.json").read_text("utf-8"))["files"] == files


def test_files_keep_within_limits_that_are_asked_for(cli, made, tmp_path):
    limits = ("--route-points", "9", "--track-points", "60", "--waypoints", "5", "--name-length", "6")
    ran = cli("export", made, "--out", tmp_path / "card", *limits)
    assert ran.code == 0, ran.err
    routes, tracks = read(tmp_path / "card" / "routes.gpx"), read(tmp_path / "card" / "tracks.gpx")
    assert max(len(r.points) for r in routes.routes) <= 9
    assert max(len(s.points) for t in tracks.tracks for s in t.segments) <= 60
    assert len(tracks.waypoints) == 5
    names = [x.name for x in (*routes.routes, *tracks.tracks, *tracks.waypoints)]
    assert max(map(len, names)) <= 6
    assert len({r.name for r in routes.routes}) == len(routes.routes)
    # the parts of a route share their joints and make up the line of the plan
    whole = places(read(made / "routes.gpx").routes)
    assert {p for r in whole for p in r} == {p for r in places(routes.routes) for p in r}


def test_a_finer_tolerance_gives_more_points_and_a_coarser_one_fewer(cli, made, tmp_path):
    def points(tolerance):
        folder = tmp_path / tolerance.replace(" ", "")
        assert cli("export", made, "--out", folder, "--thin-tolerance", tolerance).code == 0
        return sum(len(r.points) for r in read(folder / "routes.gpx").routes)

    assert points("1 m") > points("5 m") > points("50 ft")


def test_legs_signs_and_extensions_as_asked_for(cli, made, tmp_path):
    asked = ("--longest-leg", "0.1 mi", "--characters", "_", "--extensions")
    ran = cli("export", made, "--out", tmp_path / "card", *asked)
    assert ran.code == 0, ran.err
    for route in read(tmp_path / "card" / "routes.gpx").routes:
        far = [a.distance_2d(b) for a, b in itertools.pairwise(route.points)]
        assert max(far) <= 161.0 * 1.005  # 0.1 mi is 160.9 m; that library reckons on a sphere
    tracks = (tmp_path / "card" / "tracks.gpx").read_text("utf-8")
    assert "<leadsman:bottom_depth_m>" in tracks
    assert all(c.isalnum() or c == "_" for w in gpxpy.parse(tracks).waypoints for c in w.name)


@pytest.mark.parametrize("length", ["5 kg", "5", "1 m"])
def test_a_longest_leg_that_is_none_is_refused(cli, made, tmp_path, length):
    ran = cli("export", made, "--out", tmp_path / "card", "--longest-leg", length)
    assert ran.code == (1 if length == "1 m" else 2), ran.err
    assert "longest" in ran.err
    assert not (tmp_path / "card").exists()


def test_a_pair_of_files_for_each_target(cli, made, tmp_path):
    ran = cli("export", made, "--out", tmp_path / "card", "--split", "target", "--json")
    summary = json.loads((made / "plan.json").read_text("utf-8"))
    for target in {t["target"] for t in summary["troll_lines"]}:
        names = {t["name"] for t in summary["troll_lines"] if t["target"] == target}
        file = tmp_path / "card" / f"tracks-{target.replace(' ', '-')}.gpx"
        assert {t.name.split("-")[0] for t in read(file).tracks} == names
    assert len(json.loads(ran.out)["files"]) == 2 * len({t["target"] for t in summary["troll_lines"]})


@pytest.mark.parametrize("what", ["lake.tif", "bottom.geojson", "hazards.geojson"])
def test_what_changed_since_is_named_and_nothing_is_written(cli, made, plan, tmp_path, what):
    path = next(plan.parent.glob(f"*{what}*"))
    path.write_bytes(path.read_bytes() + b" ")
    ran = cli("export", made, "--out", tmp_path / "card")
    assert ran.code == 1
    assert f"{path.name} changed since this plan was made" in ran.err
    assert not (tmp_path / "card").exists()


def test_a_changed_plan_file_is_not_found_and_refused_where_it_is_named(cli, made, plan, tmp_path):
    plan.write_text(plan.read_text("utf-8") + "\n# higher water\n", "utf-8")
    ran = cli("export", made, "--out", tmp_path / "card")
    assert ran.code == 1
    assert "say where: --plan" in ran.err
    ran = cli("export", made, "--plan", plan, "--out", tmp_path / "card")
    assert ran.code == 1
    assert "plan.toml changed since" in ran.err


@pytest.mark.parametrize(
    ("content", "says"),
    [(None, "holds no plan.json"), ("{}", "is no plan that this version wrote"), ("[", "is no plan")],
)
def test_a_folder_that_is_no_plan_is_refused(cli, tmp_path, content, says):
    folder = tmp_path / "other"
    folder.mkdir()
    if content is not None:
        (folder / "plan.json").write_text(content, "utf-8")
    ran = cli("export", folder, "--out", tmp_path / "card")
    assert (ran.code, says in ran.err) == (1, True), ran.err


def test_an_earlier_export_is_exchanged_only_when_asked_and_a_plan_never(cli, made, tmp_path):
    card = tmp_path / "card"
    assert cli("export", made, "--out", card).code == 0
    assert cli("export", made, "--out", card).code == 1
    assert cli("export", made, "--out", card, "--overwrite", "--split", "period").code == 0
    assert not (card / "routes.gpx").exists()
    before = (made / "plan.json").read_bytes()
    assert cli("export", made, "--out", made, "--overwrite").code == 1
    assert (made / "plan.json").read_bytes() == before


def test_a_tolerance_that_is_no_length_is_a_usage_error(cli, made, tmp_path):
    ran = cli("export", made, "--out", tmp_path / "card", "--thin-tolerance", "5 kg")
    assert ran.code == 2
    assert "thin-tolerance" in ran.err
