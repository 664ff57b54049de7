"""`leadsman review`: from a plan to logs to rates to the next plan, and what is refused."""

from __future__ import annotations

import json
import runpy
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from geo.plan_file import read_plan_file
from geo.planner import make_plan
from tests.small_plan import write_plan

RECIPE = runpy.run_path(str(Path(__file__).parents[2] / "sample_bathymetry" / "make_season.py"))
FILES = ["review.gpkg", "review.html", "review.json", "review_map.html"]


@pytest.fixture(scope="module")
def fished(tmp_path_factory):
    """The little bowl, fished for a season at known rates: folder, plan file, what is true."""
    folder = tmp_path_factory.mktemp("season")
    plan = write_plan(folder)
    logs = RECIPE["make_season"](*make_plan(read_plan_file(plan)), seed=5)
    RECIPE["write_season"](logs, folder / "logs")
    return folder, plan, logs


def arguments(fished, out, *more):
    folder, plan, _ = fished
    logs = folder / "logs"
    given = ("--tracks", logs / "tracks.gpx", "--catches", logs / "marks.gpx", "--catches", logs / "log.csv")
    return ("review", plan, *given, "--out", out, *more)


def test_from_plan_to_logs_to_review_to_plan(cli, fished, tmp_path):
    folder, plan, logs = fished
    before = {p.name: p.read_bytes() for p in (folder / "logs").iterdir()}
    ran = cli(*arguments(fished, tmp_path / "season", "--json"))
    assert ran.code == 0
    assert sorted(p.name for p in (tmp_path / "season").iterdir()) == FILES
    assert {p.name: p.read_bytes() for p in (folder / "logs").iterdir()} == before  # logs are never altered
    review = json.loads(ran.out)
    hours = sum(h for h, _ in logs.truth.values())
    fish = sum(f for _, f in logs.truth.values())
    assert review["season"]["rod_hours"] == pytest.approx(hours, rel=0.02)
    assert review["season"]["fish"] == fish
    by_bottom: dict[str, list[float]] = {}
    for row in review["rates"]["depth_band+bottom+transition_distance"]:
        done = by_bottom.setdefault(row["bottom"], [0.0, 0.0])
        done[0] += row["rod_hours"]
        done[1] += row["fish"]
    for bottom, (true_hours, _) in logs.truth.items():
        if true_hours >= 1:
            assert by_bottom[bottom][0] == pytest.approx(true_hours, rel=0.05)
    # the next plan: its lines carry what their grounds gave, and of equal verdicts the better goes first
    text = plan.read_text("utf-8") + '\n[review]\nfile = "season/review.json"\n'
    for name in ("lake.tif", "bottom.geojson", "hazards.geojson"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    (tmp_path / "next.toml").write_text(text, "utf-8")
    planned = cli("plan", tmp_path / "next.toml", "--out", tmp_path / "next", "--json")
    assert planned.code == 0
    content = json.loads(planned.out)
    assert "review.json" in {i["file"] for i in content["inputs"]}
    produced = [t["produced"] for t in content["troll_lines"]]
    assert all(p and p["limits"][0] <= p["rate_per_rod_hour"] <= p["limits"][1] for p in produced)
    for target in {t["target"] for t in content["troll_lines"]}:
        free = [t for t in content["troll_lines"] if t["target"] == target and t["verdict"] == "free"]
        rates = [round(t["produced"]["rate_per_rod_hour"], 2) for t in free]
        assert rates == sorted(rates, reverse=True)
    page = (tmp_path / "next" / "map.html").read_text("utf-8")
    assert "fish a rod-hour" in page


def test_two_seasons_add_up(cli, fished, tmp_path):
    from geo.review.earlier import read_reviews

    cli(*arguments(fished, tmp_path / "one"))
    path = tmp_path / "one" / "review.json"
    once, twice = read_reviews([path]), read_reviews([path, path])
    assert twice.rates.effort == pytest.approx(2 * once.rates.effort)
    assert twice.rates.counts == pytest.approx(2 * once.rates.counts)
    assert (twice.rates.high - twice.rates.low).mean() < (once.rates.high - once.rates.low).mean()


def test_shared_files_hold_no_exact_place(cli, fished, tmp_path):
    assert cli(*arguments(fished, tmp_path / "blurred", "--positions", "blurred")).code == 0
    assert cli(*arguments(fished, tmp_path / "bare", "--positions", "none")).code == 0
    page = (tmp_path / "blurred" / "review_map.html").read_text("utf-8")
    assert "blurred to squares of a kilometre" in page
    assert '<g class="tracks">' not in page
    with closing(sqlite3.connect(tmp_path / "blurred" / "review.gpkg")) as file:
        tables = {row[0] for row in file.execute("select table_name from gpkg_contents")}
        assert tables == {"effort", "catches"}
    import geopandas as gpd

    catches = gpd.read_file(tmp_path / "blurred" / "review.gpkg", layer="catches")
    assert len(catches)
    assert ((catches.geometry.x - 500) % 1000 == 0).all()
    assert ((catches.geometry.y - 500) % 1000 == 0).all()
    assert sorted(p.name for p in (tmp_path / "bare").iterdir()) == [f for f in FILES if f != "review.gpkg"]
    assert '<svg class="map"' not in (tmp_path / "bare" / "review_map.html").read_text("utf-8")
    for folder in ("blurred", "bare"):
        content = json.loads((tmp_path / folder / "review.json").read_text("utf-8"))
        assert content["positions"] == ("blurred" if folder == "blurred" else "none")
        assert "easting" not in json.dumps(content)
        assert "longitude" not in json.dumps(content)


def test_one_species_alone_and_words_of_the_captain(cli, fished, tmp_path):
    every = json.loads(cli(*arguments(fished, tmp_path / "a", "--json")).out)
    walleye = json.loads(cli(*arguments(fished, tmp_path / "b", "--species", "walleye", "--json")).out)

    def fish(review):
        return sum(r["fish"] for r in review["rates"]["light"])

    assert 0 < fish(walleye) < fish(every)
    assert {s for r in walleye["rates"]["light"] for s in r["catches"]} == {"walleye"}
    eyes = json.loads(cli(*arguments(fished, tmp_path / "c", "--word", "walleye=eye", "--json")).out)
    named = {s for r in eyes["rates"]["light"] for s in r["catches"]}
    assert "eye" in named
    assert "walleye" not in named


def test_two_runs_write_the_same_bytes(cli, fished, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790000000")
    for name in ("a", "b"):
        assert cli(*arguments(fished, tmp_path / name)).code == 0
    for name in FILES:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name


@pytest.mark.parametrize(
    ("more", "code", "says"),
    [
        (("--zone", "Nowhere/Land"), 2, "no time zone"),
        (("--delay", "60"), 1, "--delay: '60' has no unit"),
        (("--delay", "3 h"), 1, "0 to 3600 s"),
        (("--word", "eye"), 2, 'write it as "eye=walleye"'),
        (("--column", "time"), 2, 'write it as "time=When"'),
        (("--tracks", "gone.gpx"), 1, "no such file"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_written(cli, fished, tmp_path, more, code, says):
    ran = cli(*arguments(fished, tmp_path / "out", *more))
    assert ran.code == code
    assert says in ran.err
    assert "Traceback" not in ran.err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda c: c.pop("rates"), "review again"),
        (lambda c: c.update(schema="other/1"), "no review of ours"),
        (lambda c: c["rates"].update({"depth_band+bottom+transition_distance": []}), "0 grounds with effort"),
    ],
)
def test_a_review_that_is_none_is_refused_with_file_and_line(cli, fished, tmp_path, change, says):
    folder, plan, _ = fished
    cli(*arguments(fished, tmp_path / "season"))
    path = tmp_path / "season" / "review.json"
    content = json.loads(path.read_text("utf-8"))
    change(content)
    path.write_text(json.dumps(content), "utf-8")
    for name in ("lake.tif", "bottom.geojson", "hazards.geojson"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    text = plan.read_text("utf-8") + '\n[review]\nfile = "season/review.json"\n'
    (tmp_path / "next.toml").write_text(text, "utf-8")
    ran = cli("plan", tmp_path / "next.toml", "--dry-run")
    assert ran.code == 1
    assert says in ran.err
    assert "[review] file" in ran.err


def test_seasons_counted_by_other_grounds_do_not_add_up(cli, fished, tmp_path):
    from geo.errors import InputError
    from geo.review.earlier import read_reviews

    cli(*arguments(fished, tmp_path / "season"))
    path = tmp_path / "season" / "review.json"
    content = json.loads(path.read_text("utf-8"))
    content["steps"]["depth_m"] = [0.0, 5.0, 10.0]
    (tmp_path / "other.json").write_text(json.dumps(content), "utf-8")
    with pytest.raises(InputError, match="other depth bands"):
        read_reviews([path, tmp_path / "other.json"])
