"""TOML text as located values.

What comes in is source text; what goes out is a tree in which every key and value knows its place,
and a finding for every mistake, so that one wrong line does not hide the next. `tomllib` keeps no
positions and stops at the first mistake: so the text is cut into statements here, each is judged by
`tomllib`, and its parts are then found again in the text. Nothing here knows what a sheet is.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field

from somite.findings import Finding
from somite.sheet.located import (
    DEPTH,
    MISTAKES,
    SHEET_SYNTAX,
    Array,
    Entry,
    Located,
    Scalar,
    Table,
    written_twice,
)
from somite.text import Site, Source
from somite.written import number_from

_WORD = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')"""
_PATH = rf"{_WORD}(?:[ \t]*\.[ \t]*{_WORD})*"
_KEY = re.compile(_WORD)
_DOT = re.compile(r"[ \t]*\.[ \t]*")
_BLANK = re.compile(r"[ \t]*")
_GAP = re.compile(r"(?:[ \t\n,]|#[^\n]*)*")
_SPACE = re.compile(r"(?:[ \t\n]|#[^\n]*\n?)*")
_ATOM = re.compile(r"[^,\]}#\n]+")
_TOKEN = re.compile(r"""\"{3}|'{3}|"(?:[^"\\\n]|\\.)*"?|'[^'\n]*'?|[\[\]{}\n]|#[^\n]*""")
_LONG_BASIC = re.compile(r'(?:[^"\\]++|\\.|"(?!""))*+"{3,5}', re.DOTALL)
_LONG_LITERAL = re.compile(r"(?:[^']++|'(?!''))*+'{3,5}")
_STRING = re.compile(r"""\"{3}|'{3}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
_FRESH = re.compile(
    rf"[ \t]*(?:{_PATH}[ \t]*=|\[\[?[ \t]*(?!(?:true|false|inf|nan)\b)[A-Za-z_][\w.\- \t]*\])"
)
_PART = re.compile(r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"?|'[^'\n]*+'?)([ \t]*\.[ \t]*)?""")
_PLACE = re.compile(r" ?\(at (?:line (\d+), column (\d+)|end of document)\)$")

Keys = list[tuple[str, int, int]]
"""The parts of a dotted key: its name and the offsets at which it is written."""


def read_toml(source: Source) -> tuple[Table, tuple[Finding, ...]]:
    """A whole TOML text, and every mistake in it (at most `MISTAKES`, then no further).

    A key whose value could not be read is in the tree as refused, so that it does not count as
    missing. Whole numbers are int, others Decimal.
    """
    reader = _Reader(source)
    at = 0
    while len(reader.findings) < MISTAKES:
        at = _match(_SPACE, source.text, at)
        if at >= len(source.text):
            break
        at = reader.statement(at)
    if not reader.findings:
        # Rules between statements, such as adding to a finished inline table.
        problem = _judged(source, 0, len(source.text))
        reader.findings.extend([problem] if isinstance(problem, Finding) else [])
    return reader.root, tuple(reader.findings)


@dataclass(slots=True)
class _Reader:
    """The tree as it grows, statement by statement."""

    source: Source
    root: Table = field(init=False)
    current: Table = field(init=False)
    findings: list[Finding] = field(default_factory=list)
    headed: dict[int, Site] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.root = self.current = Table(self.source.site(0, 1))

    def statement(self, at: int) -> int:
        """Reads the statement at an offset and returns the offset of its end."""
        text = self.source.text
        if text[at] == "[":
            end = text.find("\n", at)
            end = len(text) if end < 0 else end
            self._header(at, end)
            return end
        end, depth = _extent(text, at)
        keys, after = _keys(text, at)
        if depth > DEPTH or len(keys) > DEPTH:
            self.findings.append(_too_deep(self.source.site(at, end)))
            return end
        self._assignment(at, end, keys, after)
        return end

    def _header(self, at: int, end: int) -> None:
        """Enters the table that a line `[name]` or `[[name]]` opens."""
        text = self.source.text
        many = text.startswith("[[", at)
        keys, _ = _keys(text, _match(_BLANK, text, at + 1 + many))
        deep = len(keys) > DEPTH
        problem = _too_deep(self.source.site(at, end)) if deep else _judged(self.source, at, end)
        if isinstance(problem, Finding):
            self.findings.append(problem)
        if not keys or deep:
            self.current = Table(self.source.site(at, end))
            return
        table = self._descend(self.root, keys[:-1])
        self.current = (self._listed if many else self._opened)(table, keys[-1], at, end)

    def _opened(self, table: Table, key: tuple[str, int, int], at: int, end: int) -> Table:
        name, start, stop = key
        site = self.source.site(start, stop)
        entry = table.entries.get(name)
        if entry is None:
            entry = table.entries[name] = Entry(name, site, Table(self.source.site(at, end)))
        value = entry.value
        if not isinstance(value, Table):
            self.findings.append(written_twice(name, site, entry.site))
            return Table(self.source.site(at, end))
        if id(value) in self.headed:
            self.findings.append(written_twice(name, site, self.headed[id(value)]))
        self.headed[id(value)] = site
        return value

    def _listed(self, table: Table, key: tuple[str, int, int], at: int, end: int) -> Table:
        name, start, stop = key
        site = self.source.site(start, stop)
        fresh = Table(self.source.site(at, end))
        entry = table.entries.get(name)
        if entry is None:
            entry = table.entries[name] = Entry(name, site, Array([], fresh.site))
        if isinstance(entry.value, Array):
            entry.value.items.append(fresh)
        else:
            self.findings.append(written_twice(name, site, entry.site))
        return fresh

    def _assignment(self, at: int, end: int, keys: Keys, after: int) -> None:
        """Adds `key = value` to the table that is open."""
        text = self.source.text
        judged = _judged(self.source, at, end)
        if not isinstance(judged, Finding) and _is_deep(judged):
            judged = _too_deep(self.source.site(at, end))
        start = _match(_BLANK, text, after)
        start = _match(_BLANK, text, start + 1) if text.startswith("=", start) else at
        value: Located = Scalar(None, self.source.site(start, end), refused=True)
        if isinstance(judged, Finding):
            self.findings.append(judged)
        elif keys:
            value, _ = self._placed(_inner(judged, keys), start)
        if keys:
            self._add(self.current, keys, value)

    def _add(self, table: Table, keys: Keys, value: Located) -> None:
        name, start, stop = keys[-1]
        site = self.source.site(start, stop)
        owner = self._descend(table, keys[:-1])
        first = owner.entries.get(name)
        if first is not None:
            self.findings.append(written_twice(name, site, first.site))
            return
        owner.entries[name] = Entry(name, site, value)

    def _descend(self, table: Table, keys: Keys) -> Table:
        """The table that dotted keys lead to, made where it is not there yet."""
        for name, start, stop in keys:
            site = self.source.site(start, stop)
            entry = table.entries.get(name)
            if entry is None:
                entry = table.entries[name] = Entry(name, site, Table(site))
            value = entry.value
            if isinstance(value, Array) and value.items:
                value = value.items[-1]
            if not isinstance(value, Table):
                self.findings.append(written_twice(name, site, entry.site))
                return Table(site)
            table = value
        return table

    def _placed(self, value: object, at: int) -> tuple[Located, int]:
        """A value that `tomllib` has read, with the places of its parts, and its end."""
        if isinstance(value, list):
            return self._placed_array(value, at)
        if isinstance(value, dict):
            return self._placed_table(value, at)
        text = self.source.text
        if isinstance(value, str):
            end = _string_end(text, at)
        else:
            found = _ATOM.match(text, at)
            end = at + len(found.group().rstrip()) if found else at
        return Scalar(value, self.source.site(at, end)), end

    def _placed_array(self, values: list[object], at: int) -> tuple[Array, int]:
        text = self.source.text
        items: list[Located] = []
        end = at + 1
        for value in values:
            item, end = self._placed(value, _match(_GAP, text, end))
            items.append(item)
        end = _match(_GAP, text, end) + 1
        return Array(items, self.source.site(at, end)), end

    def _placed_table(self, values: dict[str, object], at: int) -> tuple[Table, int]:
        text = self.source.text
        table = Table(self.source.site(at, at + 1))
        end = _match(_GAP, text, at + 1)
        while not text.startswith("}", end):
            keys, end = _keys(text, end)
            end = _match(_BLANK, text, _match(_BLANK, text, end) + 1)
            value, end = self._placed(_inner(values, keys), end)
            self._add(table, keys, value)
            end = _match(_GAP, text, end)
        table.site = self.source.site(at, end + 1)
        return table, end + 1


def _match(pattern: re.Pattern[str], text: str, at: int) -> int:
    """The offset after a pattern that may be empty."""
    found = pattern.match(text, at)
    return found.end() if found else at


def _keys(text: str, at: int) -> tuple[Keys, int]:
    """The dotted key at an offset, and the offset after it; no parts where there is no key."""
    keys: Keys = []
    while found := _KEY.match(text, at):
        name = _key_name(found.group())
        if name is None:
            return [], at
        keys.append((name, found.start(), found.end()))
        dot = _DOT.match(text, found.end())
        if dot is None or len(keys) > DEPTH:
            return keys, found.end()
        at = dot.end()
    return keys, at


def _too_deep(site: Site) -> Finding:
    message = f"expected at most {DEPTH} levels of brackets and dots, found more"
    return SHEET_SYNTAX.at(site, message, help="write it flat")


def _is_long_dotted(piece: str) -> bool:
    """Whether a dotted key is far too long: `tomllib`'s time grows with its length squared."""
    longest = 8 * DEPTH
    if piece.count(".") < longest:
        return False
    run, end = 0, -1
    for part in _PART.finditer(piece):
        run = (run if part.start() == end else 0) + 1
        if run > longest:
            return True
        end = part.end() if part.group(1) else -1
    return False


def _is_deep(value: object) -> bool:
    """Whether a value nests deeper than is read: dotted keys nest without any bracket."""
    level: list[object] = [value]
    for _ in range(2 * DEPTH):
        inner: list[object] = []
        for one in level:
            inner.extend(one.values() if isinstance(one, dict) else [])
            inner.extend(one if isinstance(one, list) else [])
        if not inner:
            return False
        level = inner
    return True


def _inner(value: object, keys: Keys) -> object:
    """What dotted keys lead to in plain dictionaries."""
    for name, _, _ in keys:
        value = value[name] if isinstance(value, dict) else None
    return value


def _key_name(written: str) -> str | None:
    if written[0] not in "\"'":
        return written
    try:
        return next(iter(tomllib.loads(written + "=0")))
    except tomllib.TOMLDecodeError:
        return None


def _string_end(text: str, at: int) -> int:
    """The offset after the string at an offset; the end of the text if it is never closed."""
    found = _STRING.match(text, at)
    if found is None:
        return len(text)
    if found.group() == '"""':
        long = _LONG_BASIC.match(text, at + 3)
        return long.end() if long else len(text)
    if found.group() == "'''":
        long = _LONG_LITERAL.match(text, at + 3)
        return long.end() if long else len(text)
    return found.end()


def _extent(text: str, at: int) -> tuple[int, int]:
    """The end of the statement at an offset, and how deep its brackets go.

    A bracket that is never closed ends where the next statement evidently begins.
    """
    open_brackets: list[str] = []
    deepest = 0
    while found := _TOKEN.search(text, at):
        token, at = found.group(), found.end()
        if token in ('"""', "'''"):
            at = _string_end(text, found.start())
        elif token in "[{":
            open_brackets.append(token)
            deepest = max(deepest, len(open_brackets))
        elif token in "]}":
            if open_brackets:
                open_brackets.pop()
        elif token == "\n" and (not open_brackets or _broken_off(text, at, open_brackets[-1])):
            return at - 1, deepest
    return len(text), deepest


def _broken_off(text: str, at: int, bracket: str) -> bool:
    """Whether the line at an offset begins a new statement although a bracket is open."""
    if bracket == "{" and text[max(0, at - 200) : at].rstrip().endswith(("{", ",")):
        return False
    return _FRESH.match(text, at) is not None


def _judged(source: Source, start: int, end: int) -> dict[str, object] | Finding:
    """What `tomllib` makes of a piece of the text, or the finding for its mistake."""
    piece = source.text[start:end]
    if _is_long_dotted(piece):
        return _too_deep(source.site(start, end))
    try:
        return tomllib.loads(piece, parse_float=number_from)
    except tomllib.TOMLDecodeError as mistake:
        message = str(mistake)
    except (ValueError, RecursionError):
        message = "A number or a nesting too long to be meant"
    offset = start + _offset(piece, message)
    reason = _PLACE.sub("", message)
    reason = reason[:1].lower() + reason[1:120]
    site = source.site(offset, offset + 1)
    return SHEET_SYNTAX.at(site, f"not TOML: {reason}", help=_mending(piece))


def _offset(piece: str, message: str) -> int:
    """The offset at which `tomllib` says that its mistake lies."""
    place = _PLACE.search(message)
    if place is None:
        return 0
    if place.group(1) is None:
        return max(0, len(piece.rstrip()) - 1)
    at = 0
    for _ in range(int(place.group(1)) - 1):
        at = piece.find("\n", at) + 1
    return min(at + int(place.group(2)) - 1, max(0, len(piece) - 1))


def _mending(piece: str) -> str:
    """How the commonest mistakes are mended, judged by the text of the statement."""
    first = piece.partition("\n")[0]
    _, sign, value = first.partition("=")
    if first.startswith("["):
        return "a section is written in brackets on a line of its own: [points]"
    if not sign:
        return "a line is `name = value`, or the name of a section in brackets: [points]"
    if re.match(r"\s*[-+]?[\d.]+\s*[A-Za-z%]", value):
        return 'write a value that has a unit in quotes: "30 cm"'
    if re.match(r"\s*\(", value):
        return "write a position in square brackets: [9, 92, 0]"
    if re.match(r"\s*[A-Za-z+]", value):
        return 'write text in quotes: "+Y"'
    if value.count("[") != piece.count("]") or value.count("{") != piece.count("}"):
        return "close every bracket that is opened"
    return "a line is `name = value`; a value is a number, text in quotes, or a list in brackets"
