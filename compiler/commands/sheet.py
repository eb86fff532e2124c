"""`somite sheet`: a blank sheet for a recipe, one filled from published tables, or a variant."""

from __future__ import annotations

import argparse
import os
import re
import sys

from somite.commands.arguments import Commands, Refused, add_findings, command, delivery
from somite.report.delivery import CLEAN, Delivery, put_result

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from somite.assistant.asked import Questions
    from somite.assistant.sheet_text import SheetText
    from somite.findings import Finding
    from somite.sheet import Request, Sheet
    from somite.text import Source

    Made = tuple[SheetText, Sequence[Request] | None]
    """A sheet, and what must be asked of it before it is written."""

KINDS = ("average", "female", "male")
SMALLEST, LARGEST = "0.001", "1000"
"""Between which factors a sheet is scaled."""


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    sheet = command(
        commands,
        "sheet",
        help="write a sheet: blank, of a human, scaled or blended",
        description="Writes a sheet. For a recipe: a blank one that says what the recipe asks, or"
        " with --from-stature one of a human, from published proportions (for drawing characters,"
        " not for medicine or safety). From sheets: one that is scaled, or a blend of two. What"
        " bare numbers on a sheet mean is taken from the recipes that the cast lists it with, or"
        " from --for.",
    )
    sheet.usage = (
        "somite sheet RECIPE [--from-stature NUMBER UNIT [--kind KIND]] [-o FILE]\n"
        "       somite sheet SHEET --scale FACTOR [--for RECIPE] [-o FILE]\n"
        "       somite sheet --blend SHEET SHEET PERCENT%% [--for RECIPE] [-o FILE]"
    )
    sheet.add_argument("file", metavar="FILE", nargs="?", help="a recipe, or the sheet to scale")
    sheet.add_argument(
        "--from-stature",
        metavar=("NUMBER", "UNIT"),
        nargs="*",
        dest="stature",
        help="fill the sheet of a human as tall as that: 172 cm, or 172cm",
    )
    sheet.add_argument(
        "--kind",
        choices=KINDS,
        help="whose proportions: anybody's (average, the default), women's or men's",
    )
    sheet.add_argument("--scale", metavar="FACTOR", help="every place and length times this: 1.2")
    sheet.add_argument(
        "--blend",
        metavar=("SHEET", "SHEET", "PERCENT%"),
        nargs=3,
        help="this far from the first sheet (0%%) to the second (100%%): a.toml b.toml 40%%",
    )
    sheet.add_argument(
        "--for",
        metavar="RECIPE",
        dest="recipes",
        action="append",
        default=[],
        help="a recipe that the sheet is for (default: those that the cast lists it with)",
    )
    sheet.add_argument(
        "--character", metavar="NAME", help="what the character is called (default: as the file)"
    )
    sheet.add_argument(
        "-o", "--out", metavar="FILE", help="the .toml file to write (default: the output)"
    )
    sheet.add_argument("--replace", action="store_true", help="write over a file that is there")
    add_findings(sheet)
    sheet.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    _settle_stature(options)
    _check(options)
    findings = delivery(options)
    way = _of_recipe
    if options.blend is not None:
        way = _blended
    elif options.scale is not None:
        way = _scaled
    reading = _Reading(findings, options.file or options.blend[0])
    made = way(options, reading)
    if made is not None and reading.clean:
        _put(made, options, reading)
    sys.stdout.flush()
    return findings.close()


def _settle_stature(options: argparse.Namespace) -> None:
    """Takes apart what stands after --from-stature: a number and a unit, in one word or two."""
    if options.stature is None:
        return
    words = [word for word in options.stature if not word.endswith(".somite")]
    files = [word for word in options.stature if word.endswith(".somite")]
    if options.file is None and files:
        options.file = files.pop(0)
    if files:
        raise Refused(f'expected one recipe, found "{options.file}" and "{files[0]}"')
    options.stature = " ".join(words).strip()


def _check(options: argparse.Namespace) -> None:
    """Refuses what does not go together, and a file that would be written over."""
    ways = {"--from-stature": options.stature, "--scale": options.scale, "--blend": options.blend}
    given = [name for name, value in ways.items() if value is not None]
    if len(given) > 1:
        raise Refused(f"expected one of {', '.join(ways)}, found {' and '.join(given)}")
    if options.blend is None and options.file is None:
        raise Refused("expected a recipe, or a sheet with --scale, or --blend SHEET SHEET PERCENT%")
    if options.blend is not None and options.file is not None:
        raise Refused(f'expected two sheets after --blend and no other, found "{options.file}" too')
    if options.kind is not None and options.stature is None:
        raise Refused("expected --from-stature NUMBER UNIT beside --kind, found none")
    recipe = options.scale is None and options.blend is None
    if recipe and options.recipes:
        raise Refused("expected --for beside --scale or --blend, found it without either")
    if options.file is not None and recipe != options.file.endswith(".somite"):
        wanted = "a recipe, a .somite file" if recipe else "a sheet to scale"
        also = "; a sheet is changed by --scale or --blend" if recipe else ""
        raise Refused(f'expected {wanted}, found "{options.file}"{also}')
    _check_out(options)


def _check_out(options: argparse.Namespace) -> None:
    from somite.builds.write import is_special
    from somite.sheet.form import CHARACTER

    name = options.character
    if name is not None and CHARACTER.fullmatch(name) is None:
        raise Refused(f'expected a character named with letters, digits and _, found "{name}"')
    path = options.out
    if path is None or path.startswith("/dev/"):
        return
    if os.path.isdir(path) or is_special(path):
        raise Refused(f'expected a file to write, found that "{path}" is none')
    if not path.endswith(".toml"):
        raise Refused(f'expected a .toml file to write, found "{path}"')
    if os.path.lexists(path) and not options.replace:
        raise Refused(f'expected a new file, found that "{path}" is there (or say --replace)')


class _Reading:
    """Reads recipes and sheets, and delivers what is found in them with the lines that it is at."""

    def __init__(self, findings: Delivery, path: str) -> None:
        """A reading of files of one project, that of the path."""
        from pathlib import Path

        from somite.project import find_root

        self.findings = findings
        self.root = find_root(Path(path))
        self.sources: dict[str, Source] = {}

    @property
    def clean(self) -> bool:
        """Whether no error was found so far."""
        return self.findings.status == CLEAN

    def take(self, found: Iterable[Finding]) -> None:
        """Delivers findings."""
        from somite.report import lines_of

        self.findings.take(found, lines_of(self.sources), str(self.root))

    def questions(self, recipe: str) -> Questions | None:
        """What a recipe asks for; None where it cannot be read."""
        from pathlib import Path

        from somite.assistant.asked import questions
        from somite.findings import has_errors
        from somite.pipeline import read_recipe

        read, mistakes = read_recipe(Path(recipe))
        self.sources |= read.sources if read is not None else {}
        if read is None or has_errors(mistakes):
            self.take(mistakes)
            return None
        asked, mistakes = questions(read)
        self.take(mistakes)
        return None if has_errors(mistakes) else asked

    def sheet(self, path: str) -> Sheet | None:
        """A sheet without mistakes of form; None where there are any."""
        from pathlib import Path

        from somite import project
        from somite.findings import has_errors
        from somite.sheet import load

        sheet, mistakes = load(Path(path))
        files = {project.shown(Path(path), self.root): path}
        files |= {one.name: one.path for one in (sheet.sources if sheet is not None else ())}
        read = (project.read_source(Path(file), name)[0] for name, file in files.items())
        self.sources |= {source.name: source for source in read if source is not None}
        self.take(mistakes)
        return None if has_errors(mistakes) else sheet

    def asked(self, sheets: Sequence[str], recipes: Sequence[str]) -> Sequence[Request] | None:
        """What recipes ask for, by default those that the cast lists a sheet with; None: none."""
        from somite.assistant.variants import asked_by

        found = [self.questions(recipe) for recipe in recipes or _cast_recipes(sheets)]
        if not found:
            return None
        asked, differing = asked_by(
            [[asked.request for asked in one.asked] for one in found if one is not None]
        )
        self.take(differing)
        return asked

    def shown(self, path: str) -> str:
        """A file as the project calls it."""
        from pathlib import Path

        from somite.project import shown

        return shown(Path(path), self.root)


# ---- the four ways -------------------------------------------------------------------------------


def _of_recipe(options: argparse.Namespace, reading: _Reading) -> Made | None:
    """A blank sheet, or a human's."""
    asked = reading.questions(options.file)
    if asked is None:
        return None
    if options.stature is None:
        from somite.assistant.blank import blank

        return blank(asked, _character(options, "new_character")), None
    from somite.assistant.figure import filled

    number, unit = _stature(options.stature)
    kind = options.kind or KINDS[0]
    name = _character(options, f"human_{re.sub('[^0-9]', '_', f'{number:f}')}_{unit}")
    sheet, found = filled(asked, name, kind, number, unit)
    reading.take(found)
    return None if sheet is None else (sheet, None)


def _scaled(options: argparse.Namespace, reading: _Reading) -> Made | None:
    from somite.assistant.variants import Heading, scaled

    factor = _factor(options.scale)
    sheet = reading.sheet(options.file)
    asked = reading.asked([options.file], options.recipes)
    if sheet is None or not reading.clean:
        return None
    made_by = f"somite sheet {reading.shown(options.file)} --scale {factor:f}"
    name = _character(options, f"{sheet.character[:50]}_scaled")
    made, found = scaled(sheet, factor, asked, Heading(name, made_by, _folder(options)))
    reading.take(found)
    return None if made is None else (made, asked)


def _blended(options: argparse.Namespace, reading: _Reading) -> Made | None:
    from somite.assistant.variants import Heading, blended

    *paths, percent = options.blend
    share = _share(percent)
    first, second = (reading.sheet(path) for path in paths)
    asked = reading.asked(paths, options.recipes)
    if first is None or second is None or not reading.clean:
        return None
    made_by = f"somite sheet --blend {' '.join(reading.shown(path) for path in paths)} {percent}"
    digits = re.sub("[^0-9]", "_", percent.removesuffix("%"))
    name = _character(options, f"{first.character[:25]}_{second.character[:25]}_{digits}"[:64])
    heading = Heading(name, made_by, _folder(options))
    made, found = blended(first, second, share, asked, heading)
    reading.take(found)
    return None if made is None else (made, asked)


# ---- what was given ------------------------------------------------------------------------------


def _stature(written: str) -> tuple[Decimal, str]:
    """The number and the unit of `172 cm` or `172cm`. Refused for what is none."""
    from string import ascii_letters

    from somite.findings import listed
    from somite.units import LENGTH_UNITS
    from somite.written import number_in

    digits = written.rstrip(ascii_letters)
    number, unit = number_in(digits.rstrip()), written[len(digits) :]
    if number is None or not 0 < number < 10**6:
        found = f'"{written}"' if written else "none"
        raise Refused(f"expected a stature such as --from-stature 172 cm, found {found}")
    if unit not in LENGTH_UNITS:
        found = f'"{unit}"' if unit else f"{written} without a unit"
        raise Refused(f"expected {listed(LENGTH_UNITS)} after the stature, found {found}")
    return number, unit


def _factor(written: str) -> Decimal:
    from decimal import Decimal

    from somite.written import number_in

    factor = number_in(written)
    if factor is None or not Decimal(SMALLEST) <= factor <= Decimal(LARGEST):
        raise Refused(f'expected a factor of {SMALLEST} to {LARGEST}, found "{written}"')
    return factor


def _share(written: str) -> Decimal:
    from somite.written import number_in

    share = number_in(written.removesuffix("%")) if written.endswith("%") else None
    if share is None or not 0 <= share <= 100:
        raise Refused(f'expected a share of 0% to 100% after the two sheets, found "{written}"')
    return share.scaleb(-2)


def _folder(options: argparse.Namespace) -> str:
    """The folder that the new sheet will lie in."""
    return os.path.realpath(os.path.dirname(options.out or "") or os.curdir)


def _character(options: argparse.Namespace, otherwise: str) -> str:
    """The name that was given, or the file's where a character can be called so."""
    from somite.sheet.form import CHARACTER

    if options.character is not None:
        return str(options.character)
    stem = os.path.splitext(os.path.basename(options.out or ""))[0]
    return stem if CHARACTER.fullmatch(stem) and not options.out.startswith("/dev/") else otherwise


def _cast_recipes(paths: Sequence[str]) -> tuple[str, ...]:
    """The recipes that a cast lists any of the sheets with."""
    from somite.builds import cast_file

    recipes: dict[str, None] = {}
    for path in paths:
        cast = cast_file.found_from(os.path.dirname(path) or os.curdir)
        for job in cast_file.jobs_at(cast) if cast is not None else ():
            if os.path.realpath(job.sheet) == os.path.realpath(path):
                recipes[job.recipe] = None
    return tuple(recipes)


# ---- what is written -----------------------------------------------------------------------------


def _put(made: Made, options: argparse.Namespace, reading: _Reading) -> None:
    """Writes a sheet that reads back without an error, whole; else says what is wrong with it."""
    from pathlib import Path

    from somite.assistant.sheet_text import text_of
    from somite.findings import has_errors
    from somite.sheet import measure, read
    from somite.text import Source

    sheet, requests = made
    text = text_of(sheet)
    source = Source(options.out or "the new sheet", text)
    again, found = read(source, Path(_folder(options)), reading.root)
    if again is not None and requests is not None:
        found = (*found, *(one for one in measure(again, requests)[1] if has_errors([one])))
    reading.sources[source.name] = source
    reading.take(found)
    if not reading.clean:
        return
    put_result(options.out, text)
