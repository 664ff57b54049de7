"""The review in tables, to read and to print: grounds, lines, rigs, light, and all that was not used."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Sequence
from importlib import resources

from geo.output.review_words import (
    HEADS,
    POSITION_NOTES,
    RATE_NOTE,
    Positions,
    dispersion_text,
    limits_text,
    odds_text,
    rate_text,
    season_text,
    sure_text,
)
from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION, escaped
from geo.review.results import ASKED, RatedRow, Review
from geo.review.trolling import KINDS

_STYLE = resources.files("geo.output").joinpath("review.css").read_text("utf-8")
_MOST_LISTED = 200


def page_around(title: str, body: Sequence[str], *, style: str = _STYLE) -> str:
    """A page without scripts that asks for nothing; text in `body` is escaped already."""
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    policy = (
        f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )
    return "\n".join(
        (
            "<!DOCTYPE html>",
            '<html lang="en" data-ready="1">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escaped(title)}</title>",
            f"<style>{style}</style>",
            "</head>",
            "<body>",
            *body,
            "</body>",
            "</html>",
            "",
        )
    )


def review_html(review: Review, *, plan_name: str, printed: str, positions: Positions) -> str:
    """Build `review.html`.

    Parameters
    ----------
    review : the season with its rates.
    plan_name : of the plan that it is held against.
    printed : date of the page.
    positions : what is said of places; this page holds none either way.
    """
    counted = review.season.cells.seconds_by_kind()
    body = [
        f"<h1>{escaped(plan_name)}: what produced</h1>",
        f"<p class='caution'><strong>{NOT_FOR_NAVIGATION}</strong> {COMES_FIRST}</p>",
        f"<p class='lead'>{escaped(season_text(review))}. {escaped(odds_text(review))}</p>",
        f"<p>{escaped(dispersion_text(review))} {RATE_NOTE}</p>",
        f"<p>{POSITION_NOTES[positions]} Printed: {escaped(printed)}.</p>",
    ]
    for names in ASKED:
        body.extend(_table(names, review.tables[names]))
    body.append("<section><h2>What was counted</h2><table><tbody>")
    body.extend(f"<tr><th>{k}</th><td>{counted[k] / 3600:.2f} h</td></tr>" for k in KINDS)
    body.append("</tbody></table></section>")
    body.extend(
        _list(
            "Fish that could not be placed",
            [
                f"{u.catch.place}: {u.catch.count} {u.catch.species}, {u.reason}"
                for u in review.season.unplaced
            ],
        )
    )
    body.extend(
        _list(
            "Notes of catches that are doubtful",
            [f"{p.catch.place}: {p.catch.trouble}" for p in review.season.placed if p.catch.trouble],
        )
    )
    body.extend(
        _list(
            "Records that were not used",
            [
                f"{o.place}: {o.reason}" + (f" ({o.count})" if o.count > 1 else "")
                for o in review.season.left_out
            ],
        )
    )
    body.extend(_list("How it was counted", list(review.season.notes)))
    return page_around(f"{plan_name}: what produced", body)


def _table(names: Sequence[str], rows: Sequence[RatedRow]) -> Iterator[str]:
    heads = [*(HEADS[n] for n in names), "Rod-hours", "Fish", "Plain rate", "95 %", "Likely rate", "95 %", ""]
    yield f"<section><h2>By {' and '.join(HEADS[n].lower() for n in names)}</h2>"
    yield f"<table><thead><tr>{''.join(f'<th>{h}</th>' for h in heads)}</tr></thead><tbody>"
    for row in rows:
        cells = [
            f"{row.rod_hours:.1f}",
            str(row.fish),
            rate_text(row.raw),
            limits_text(row.raw_low, row.raw_high),
            rate_text(row.rate),
            limits_text(row.low, row.high),
            sure_text(row),
        ]
        words = "".join(f"<th>{escaped(w)}</th>" for w in row.words)
        kind = "" if row.enough else ' class="unsure"'
        yield f"<tr{kind}>{words}{''.join(f'<td>{escaped(c)}</td>' for c in cells)}</tr>"
    yield "</tbody></table></section>"


def _list(title: str, lines: Sequence[str]) -> Iterator[str]:
    if not lines:
        return
    more = len(lines) - _MOST_LISTED
    items = "".join(f"<li>{escaped(line)}</li>" for line in lines[:_MOST_LISTED])
    rest = f"<li>and {more} more, in review.json</li>" if more > 0 else ""
    yield f"<section><h2>{title}</h2><ul>{items}{rest}</ul></section>"
