"""`somite diff`: what changed between two rigs, and what it does to clips, picture and skin."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands import inputs
from somite.commands.arguments import Commands, Refused, command
from somite.report import FORMS as FINDING_FORMS
from somite.report.delivery import USAGE, Delivery, put_file, put_result

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from somite.diff.requirements import Requirement
    from somite.diff.review import Review
    from somite.report.review_outline import Effect, Outline
    from somite.report.review_page import Character
    from somite.sides import Pairing, Side, Version

FORMS = ("terminal", "markdown", "json", "html")
"""How a review can be written."""
SUFFIXES = {"md": "markdown", "markdown": "markdown", "json": "json", "html": "html", "htm": "html"}
"""Forms by the end of a file's name; terminal by any other."""

MOST_SETTINGS = 12
"""Channels that a printed command sets; a pose of more is in the JSON."""

MOST_DRAWN = 8
"""Characters of which a page has drawings, those that change most first: each takes up to 250 kB,
and up to 700 kB more for the way to its worst pose."""
MOST_MOVED = 3
"""Characters of which a page also has the way to the worst pose."""


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    diff = command(
        commands,
        "diff",
        help="say what changed between two rigs, and what it does to clips",
        description="Compares two rigs by meaning: what changed, which joints now go elsewhere and"
        " under which control, and whether channels, picture and skin are kept. Each side is a"
        " recipe, a scene file, a folder with cast.toml, or any of these as REV:path in git.",
    )
    diff.add_argument("old", metavar="OLD", help="the rig as it was")
    diff.add_argument("new", metavar="NEW", help="the rig as it is")
    diff.add_argument(
        "--sheet",
        metavar="SHEET",
        action="append",
        default=[],
        help="a character's measurements (repeat it; default: all of the recipe's cast)",
    )
    diff.add_argument(
        "--as",
        metavar="PATH",
        dest="lies_at",
        help="where in its project the recipe lies of which both are copies (for git difftool)",
    )
    diff.add_argument(
        "--clip",
        metavar="FILE",
        dest="clips",
        action="append",
        default=[],
        help="a clip of the old rig, to be tried as well (repeat it)",
    )
    diff.add_argument(
        "--require",
        metavar="WHAT=VERDICT",
        action="append",
        default=[],
        help="fail unless it is so: channels=keeps, skin=carries, picture=0.5%% (repeat it, or"
        " set commas)",
    )
    diff.add_argument("--no-poses", action="store_true", help="compare without posing the rigs")
    diff.add_argument(
        "--format",
        choices=FORMS,
        help="how the review is written (default: by the name of the file, else terminal)",
    )
    diff.add_argument(
        "-o", "--out", metavar="FILE", help="where the review goes (default: the output)"
    )
    diff.add_argument(
        "--json", metavar="FILE", help="write it as JSON, too; - prints JSON in place of the report"
    )
    diff.add_argument(
        "--findings", metavar="FILE", help="where findings go (default: the error stream)"
    )
    diff.add_argument(
        "--findings-format",
        choices=FINDING_FORMS,
        default="human",
        help="how findings are written (default: human)",
    )
    diff.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    from somite import sides
    from somite.diff.requirements import requirements_in

    required, wrong = requirements_in(options.require)
    if wrong:
        raise Refused(wrong)
    if options.no_poses and (options.clips or any(one.what == "picture" for one in required)):
        raise Refused("expected poses for a clip or a picture, found --no-poses")
    if not options.clips and any(one.what == "clips" for one in required):
        raise Refused("expected a clip for what clips are to keep, found no --clip FILE")
    form = _form(options)
    taken = Delivery(options.findings_format, options.findings, sys.stderr, os.environ)
    named = options.old, options.new
    old, new = (sides.load(one, options.sheet, options.lies_at) for one in named)
    for side in (old, new):
        _deliver(side, taken)
    if any(not side.versions for side in (old, new)):
        return max(taken.close(), USAGE)
    pairing = sides.paired(old, new)
    reviews = _reviews(pairing, options, required, taken)
    _put(pairing, reviews, options, form)
    _require(required, reviews, taken)
    return taken.close()


def _form(options: argparse.Namespace) -> str:
    """How the review is written. Refused where it is asked for in two ways."""
    if options.json == "-" and (options.format not in (None, "json") or options.out):
        raise Refused("expected one form on the output, found --json - and another")
    if options.format is not None:
        return str(options.format)
    if options.json == "-":
        return "json"
    suffix = (options.out or "").rpartition(".")[2].lower()
    return SUFFIXES.get(suffix, "terminal")


def _deliver(side: Side, taken: Delivery) -> None:
    """A side's findings: those of a revision are told by its name."""
    from somite.report import lines_of
    from somite.sides import findings_of

    sources = dict(side.sources)
    for version in side.versions:
        sources |= version.sources
    posable = next((one.posable for one in side.versions if one.posable is not None), None)
    root = inputs.root_of(posable[0]) if posable is not None else None
    taken.take(findings_of(side), lines_of(sources), root)


def _reviews(
    pairing: Pairing,
    options: argparse.Namespace,
    required: Sequence[Requirement],
    taken: Delivery,
) -> list[tuple[str, Review]]:
    """A review for each character that could be compared."""
    from somite.diff.requirements import tolerance
    from somite.diff.review import reviewed
    from somite.sides import alike

    found: list[tuple[str, Review]] = []
    progress = inputs.progress_of(len(pairing.pairs))
    for name, (old, new) in _named(pairing).items():
        progress.say(f"comparing {name}")
        first, second, unheld = alike(old, new)
        if first is None or second is None:
            continue
        posed = None
        clips: list[object] = []
        if old.settled is not None and new.settled is not None and not options.no_poses:
            from somite.evaluate import Evaluator

            posed = Evaluator(old.settled), Evaluator(new.settled)
            read = [inputs.read_clip(one, posed[0], taken) for one in options.clips]
            clips = [clip for clip in read if clip is not None]
        found.append(
            (
                name,
                reviewed(
                    first,
                    second,
                    None if posed is None else (posed[0].settled, posed[1].settled),
                    clips=clips,  # type: ignore[arg-type]
                    tolerance=tolerance(required, first.height),
                    unheld=unheld,
                    evaluators=posed,
                ),
            )
        )
    progress.clear()
    return found


def _named(pairing: Pairing) -> dict[str, tuple[Version, Version]]:
    """What is compared by its character's name; with the recipe's where two have one name."""
    from collections import Counter

    counts = Counter(new.character for _, new in pairing.pairs)
    return {
        new.character
        if counts[new.character] == 1
        else f"{new.character} of {new.recipe.rpartition('/')[2]}": (old, new)
        for old, new in pairing.pairs
    }


def _put(
    pairing: Pairing,
    reviews: Sequence[tuple[str, Review]],
    options: argparse.Namespace,
    form: str,
) -> None:
    """The report, and the document where it is asked for."""
    only_old, only_new = (
        [version.character for version in versions]
        for versions in (pairing.only_old, pairing.only_new)
    )
    old, new = options.old, options.new
    beside = options.json if options.json != "-" else None
    if form == "json" or beside is not None:
        from somite.report.review_json import document, json_text

        text = json_text(document(old, new, reviews, only_old, only_new))
        if beside is not None:
            put_file(beside, text)
        if form == "json":
            put_result(options.out, text)
            return
    from somite.report.review_outline import outline

    versions = _named(pairing)
    made = _with_commands(outline(reviews), versions)
    if form == "html":
        from somite.report.review_page import review_page

        held = _characters(reviews, versions, posed=not options.no_poses)
        text = review_page(made, held, old, new, only_old=only_old, only_new=only_new)
    elif form == "markdown":
        from somite.report.review_markdown import review_markdown

        text = review_markdown(made, old, new, only_old=only_old, only_new=only_new)
    else:
        from somite.report.review_terminal import review_text

        text = review_text(made, old, new, only_old=only_old, only_new=only_new)
    put_result(options.out, text)


def _characters(
    reviews: Sequence[tuple[str, Review]],
    versions: Mapping[str, tuple[Version, Version]],
    *,
    posed: bool,
) -> list[Character]:
    """What a page shows of each character, those that change most first: they are drawn."""
    from somite.report.review_outline import outline

    def amount(one: tuple[str, Review]) -> tuple[bool, float, float, int]:
        review = one[1]
        departures = review.behaviour.departures if review.behaviour is not None else ()
        moved = max([one.share for one in departures[:1]], default=0.0)
        off = review.picture.share if review.picture is not None else 0.0
        return review.same, -moved, -off, -len(review.difference.changes)

    found = []
    progress = inputs.progress_of(len(reviews))
    for rank, (name, review) in enumerate(sorted(reviews, key=amount)):
        progress.say(f"drawing {name}")
        made = _with_commands(outline([(name, review)]), versions)
        found.append(
            _drawn(
                name,
                review,
                made,
                versions[name],
                drawn=rank < MOST_DRAWN,
                moved=posed and rank < MOST_MOVED,
            )
        )
    progress.clear()
    return found


def _drawn(
    name: str,
    review: Review,
    made: Outline,
    pair: tuple[Version, Version],
    *,
    drawn: bool,
    moved: bool,
) -> Character:
    """One character with its drawings, as far as they are wanted and anything is to be seen."""
    from somite.report.review_page import Character
    from somite.report.review_pictures import motion_pictures, rest_picture, worst_pose
    from somite.report.review_sentences import effect_text

    old, new = (version.settled for version in pair)
    if review.same or old is None or new is None:
        same = "Nothing changed, so nothing is drawn." if review.same else ""
        return Character(name, made, left_out=same)
    if not drawn:
        told = (
            f"Only the {MOST_DRAWN} characters that change most are drawn: --sheet draws this one."
        )
        return Character(name, made, left_out=told)
    rest = rest_picture(review, (old, new), f"{name}: both rigs at rest")
    worst = worst_pose(review)
    if worst is None:
        return Character(name, made, rest)
    if not moved:
        told = (
            f"Only the {MOST_MOVED} characters that change most are shown on the way to their worst"
            " pose: --sheet shows this one."
        )
        return Character(name, made, rest, left_out=told)
    from somite.evaluate import Evaluator

    motion = motion_pictures(review, worst, (Evaluator(old), Evaluator(new)), f"{name}: both rigs")
    effect = next((one for one in made.effects if one.departure is worst), None)
    text = effect_text(effect, 1) if effect is not None else f"{worst.joint} is furthest off."
    return Character(name, made, rest, motion, text, effect.command if effect else None)


def _with_commands(made: Outline, versions: Mapping[str, tuple[Version, Version]]) -> Outline:
    """The outline with the command that poses each effect, where a command can."""
    from dataclasses import replace

    return replace(
        made,
        effects=tuple(
            [replace(one, command=_command(one, *versions[one.character])) for one in made.effects]
        ),
    )


def _command(one: Effect, old: Version, new: Version) -> str | None:
    """`somite pose` for the pose that shows an effect: of the new rig, or of the old one."""
    from shlex import quote

    posable = old.posable if one.of_old else new.posable
    if posable is None or not 0 < len(one.pose) <= MOST_SETTINGS:
        return None
    recipe, sheet = posable
    told = [f"--set {quote(setting)}" for setting in one.pose]
    paths = [quote(_from_here(path)) for path in (recipe, sheet)]
    return " ".join(["somite pose", paths[0], "--sheet", paths[1], *told])


def _from_here(path: str) -> str:
    """A path as it is shorter to write, from the current folder where it lies below."""
    here = os.path.relpath(path)
    return path if here.startswith(os.pardir) else here


def _require(
    required: Sequence[Requirement], reviews: Sequence[tuple[str, Review]], taken: Delivery
) -> None:
    """Findings for what was required and is not so."""
    from somite.diff.requirements import unmet, untried
    from somite.report import lines_of

    for name, review in reviews:
        taken.take(unmet(required, review, name), lines_of({}))
    if not reviews:
        taken.take(untried(required), lines_of({}))
