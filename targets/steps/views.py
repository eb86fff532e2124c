"""Records and phrases to the plain data that templates lay out.

In comes a guide and a voice; out go dictionaries, lists and texts, in which names stand between
marks. How marked texts are laid out is for `marked` and the templates.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from somite.targets.steps.parts import COUNTED
from somite.targets.steps.phrases import Voice
from somite.targets.steps.records import (
    JOIN,
    PART,
    PHASES,
    TRIALS,
    Both,
    Entry,
    Fact,
    Guide,
    Materials,
    Names,
    Need,
    Phase,
    Saying,
    Section,
    Share,
    Table,
    names_in,
)
from somite.text import Origin

Data = dict[str, Any]


@cache
def glossary() -> tuple[Data, ...]:
    """The words and their meanings, sorted."""
    import tomllib

    text = Path(__file__).with_name("glossary.toml").read_text(encoding="utf-8")
    return tuple(sorted(tomllib.loads(text)["word"], key=lambda word: str(word["word"])))


def page(guide: Guide, voice: Voice) -> Data:
    """Everything that the templates of the steps are given, under the names that they use."""
    sections = _sections(guide, voice)
    title = voice.filled("page.title", recipe=guide.recipe, character=guide.character)
    return {
        "recipe": voice.say(guide.recipe),
        "character": voice.say(guide.character),
        "revision": guide.revision,
        "about": voice.say(guide.about),
        "title": title,
        "subtitle": voice.filled("page.revision", revision=str(guide.revision)),
        "label": voice.section("page"),
        "materials": _materials(guide.materials, voice),
        "conventions": [voice.say(saying) for saying in _conventions(guide)],
        "contents": contents(guide, voice),
        "kinds": _kinds(guide, voice),
        "sections": sections,
        "glossary": list(glossary()),
        "total": sum(section["count"] for section in sections),
        "digest": _digest(sections),
    }


def _conventions(guide: Guide) -> Iterator[Saying]:
    yield from guide.conventions
    if any(_has_both(section) for section in guide.sections):
        yield Saying("convention.both", {"across": guide.across})
    if guide.shares:
        yield Saying("convention.join")


def _has_both(section: Section) -> bool:
    return any(isinstance(entry, Both) for phase in section.phases for entry in phase.entries)


def _sections(guide: Guide, voice: Voice) -> list[Data]:
    """The sections in the order of the page, which is that of the lists where several share."""
    by_key = {section.key: section for section in guide.sections}
    places = {section.key: number for number, section in enumerate(guide.sections, start=1)}
    whole = (Share(0, tuple(by_key), ()),)
    found: list[Data] = []
    for share in guide.shares or whole:
        total = sum(by_key[key].count for key in share.sections)
        done = 0
        for key in share.sections:
            section = by_key[key]
            data = _section(section, places[key], guide.across, voice)
            data["progress"] = _progress(voice, done, section.count, total)
            done += section.count
            found.append(data)
        if guide.shares and share.sections:
            first = found[-len(share.sections)]
            first["person"] = _person_told(voice, share, total)
    _joined(guide, voice, {data["key"]: data for data in found})
    return found


def _section(section: Section, place: int, across: str, voice: Voice) -> Data:
    rule = voice.filled("section.rule", across=across) if _has_both(section) else ""
    return {
        "key": section.key,
        "kind": section.kind,
        "id": f"section-{place}",
        "title": title_of(section, voice),
        "intro": voice.text(f"phase.{section.kind}.intro") if section.kind != PART else "",
        "counted": _counted(voice, section.count),
        "both": rule,
        "needs": [_need(need, voice) for need in _all_needs(section)],
        "phases": [_phase(section, phase, place, voice) for phase in section.phases],
        "count": section.count,
        "person": None,
        "gives": [],
    }


def title_of(section: Section, voice: Voice) -> str:
    """The title of a section: of what it is about, and of which sides."""
    if section.kind not in (PART, TRIALS):
        return voice.text(f"phase.{section.kind}.title")
    part = section.key.removeprefix(f"{section.kind} ")
    title = voice.filled("section.both", part=part) if len(section.parts) > 1 else part
    return title if section.kind == PART else voice.filled("section.trials", part=title)


def _progress(voice: Voice, done: int, count: int, total: int) -> str:
    first, last = str(done + 1), str(done + count)
    share = f"{100 * done // total}%"
    return voice.filled("page.range", first=first, last=last, total=str(total), share=share)


def _all_needs(section: Section) -> list[Need]:
    """What a part takes from earlier sections, all of one together."""
    found: dict[str, Need] = {}
    for need in section.needs if section.kind == PART else ():
        known = found.get(need.section, need)
        names = dict.fromkeys((*known.names, *need.names))
        found[need.section] = Need(need.section, max(known.step, need.step), tuple(names))
    return list(found.values())


def _need(need: Need, voice: Voice) -> str:
    step = _step_label(need, voice)
    return voice.say(Saying("section.need", {"names": Names(need.names), "step": step}))


def _step_label(need: Need, voice: Voice) -> str:
    return voice.filled("page.step-label", section=need.section, number=str(need.step))


def person(voice: Voice, number: int) -> str:
    """What somebody who builds is called: by a letter, and after Z by a number."""
    letter = chr(ord("A") + number) if number < 26 else str(number + 1)
    return voice.filled("page.person", letter=letter)


def _person_told(voice: Voice, share: Share, total: int) -> Data:
    about = voice.filled(
        "page.person-about", sections=str(len(share.sections)), steps=_counted(voice, total)
    )
    return {"title": person(voice, share.person), "about": about}


def _joined(guide: Guide, voice: Voice, sections: Mapping[str, Data]) -> None:
    """Says at each join what is waited for, and behind what is waited for who waits."""
    joins = [join for share in guide.shares for join in share.joins]
    for join in sorted(joins, key=lambda one: one.number):
        title = voice.filled("page.join", number=str(join.number))
        who = person(voice, join.person)
        before = voice.filled("page.step-label", section=join.section, number=str(join.before))
        told = {
            "title": title,
            "intro": voice.filled("page.join-intro", who=who, step=before),
            "lines": [_join_line(voice, person(voice, other), need) for other, need in join.needs],
        }
        phases = sections[join.section]["phases"]
        next(phase for phase in phases if phase["first"] == join.before)["joins"].append(told)
        ends: dict[str, int] = {}
        for _, need in join.needs:
            ends[need.section] = max(need.step, ends.get(need.section, 0))
        for key, number in ends.items():
            step = voice.filled("page.step-label", section=key, number=str(number))
            gives = voice.filled("page.gives", join=title, who=who, step=step)
            sections[key]["gives"].append(gives)


def _join_line(voice: Voice, other: str, need: Need) -> str:
    step = _step_label(need, voice)
    told = Saying("section.need-all", {"section": need.section, "step": step})
    if need.names:
        told = Saying("section.need", {"names": Names(need.names), "step": step})
    return voice.say(Saying("page.join-from", {"other": other, "need": told}))


def contents(guide: Guide, voice: Voice) -> Data:
    """The table of contents: what each section makes, how many steps it has, and the sums."""
    columns = ["section", *COUNTED, "steps"]
    by_key = {section.key: section for section in guide.sections}
    rows: list[list[str]] = []
    order = [(share.person, key) for share in guide.shares for key in share.sections]
    for number, key in order or [(0, key) for key in by_key]:
        section = by_key[key]
        counts = [str(section.counts.get(kind) or "") for kind in COUNTED]
        who = [person(voice, number)] if guide.shares else []
        rows.append([title_of(section, voice), *counts, str(section.count), *who])
    totals = [
        str(sum(section.counts.get(kind, 0) for section in guide.sections)) for kind in COUNTED
    ]
    steps = str(sum(section.count for section in guide.sections))
    rows.append([voice.text("page.in-all"), *totals, steps, *([""] if guide.shares else [])])
    columns.extend(["person"] if guide.shares else [])
    return {
        "columns": [
            {
                "label": voice.text(f"{'count' if column in COUNTED else 'column'}.{column}"),
                "numeric": column in (*COUNTED, "steps"),
            }
            for column in columns
        ],
        "rows": rows,
    }


def _kinds(guide: Guide, voice: Voice) -> list[Data]:
    """The phases inside parts, each with what it is for, in order."""
    used = {
        phase.key for section in guide.sections if section.kind == PART for phase in section.phases
    }
    return [
        {"title": voice.text(f"phase.{key}.title"), "intro": voice.text(f"phase.{key}.intro")}
        for key in (*PHASES, JOIN)
        if key in used
    ]


def _phase(section: Section, phase: Phase, place: int, voice: Voice) -> Data:
    title = voice.text(f"phase.{phase.key}.title")
    if phase.parts:
        title = voice.say(Saying("section.join", {"parts": Names(phase.parts)}))
    return {
        "key": phase.key,
        "title": title if section.kind == PART else "",
        "steps": [
            _entry(section, number, entry, place, voice) for number, entry in phase.numbered()
        ],
        "joins": [],
        "first": phase.number,
        "count": len(phase.entries),
    }


def _counted(voice: Voice, count: int) -> str:
    return voice.filled("page.steps-count" if count != 1 else "page.steps-one", count=str(count))


def _entry(section: Section, number: int, entry: Entry, place: int, voice: Voice) -> Data:
    step = entry.left if isinstance(entry, Both) else entry
    return {
        "number": number,
        "label": voice.filled("page.step-label", section=section.key, number=str(number)),
        "id": f"{place}-{number}",
        "key": step.action.key,
        "action": voice.say(step.action),
        "facts": [_fact(fact, voice) for fact in step.facts],
        "table": table(step.table, voice) if step.table is not None else None,
        "notes": [voice.say(note) for note in step.notes],
        "sees": [voice.say(see) for see in step.sees],
        "makes": [name.spelled for name in step.made],
        "source": sources(step.origin),
        "other": _other(entry, voice) if isinstance(entry, Both) else None,
    }


def _other(both: Both, voice: Voice) -> Data:
    """What is said of the right: which things are meant, and what is other than expected."""
    right, expected = both.right, both.expected
    facts = [
        _fact(fact, voice)
        for fact, wanted in zip(right.facts, expected.facts, strict=True)
        if fact != wanted or (right.made and fact.label == "label.place")
    ]
    notes, sees = (
        [voice.say(one) for one, wanted in zip(found, read, strict=True) if one != wanted]
        for found, read in ((right.notes, expected.notes), (right.sees, expected.sees))
    )
    other = right.table if right.table != expected.table else None
    action = voice.say(right.action) if right.action != expected.action else ""
    differs = bool(action or facts or notes or sees or other)
    ours, theirs = voice.say(both.left.action), voice.say(right.action)
    marked = ((name, voice.say(name)) for name in dict.fromkeys(names_in(right.action)))
    names = tuple(name for name, text in marked if text in theirs and text not in ours)
    key = f"page.other{'-named' if names else ''}{'-but' if differs else ''}"
    return {
        "said": voice.say(Saying(key, {"names": Names(names)})),
        "action": action,
        "facts": facts,
        "table": table(other, voice) if other is not None else None,
        "notes": notes,
        "sees": sees,
    }


def _fact(fact: Fact, voice: Voice) -> Data:
    return {"label": voice.text(fact.label), "value": voice.say(fact.value)}


def table(table: Table, voice: Voice) -> Data:
    """A table as its column labels, its rows of texts, and which columns are numbers."""
    numeric = list(table.numeric) or [False] * len(table.columns)
    return {
        "columns": [
            {"label": voice.text(column), "numeric": flag}
            for column, flag in zip(table.columns, numeric, strict=True)
        ],
        "rows": [[voice.say(cell) for cell in row] for row in table.rows],
    }


def _materials(materials: Materials, voice: Voice) -> Data:
    return {
        "facts": [_fact(fact, voice) for fact in materials.facts],
        "needs": [voice.say(need) for need in materials.needs],
        "counts": [
            {"label": voice.text(f"count.{kind}"), "count": count}
            for kind, count in materials.counts
        ],
        "dials": table(materials.dials, voice) if materials.dials.rows else None,
        "nudges": table(materials.nudges, voice) if materials.nudges.rows else None,
    }


def sources(origin: Origin) -> str:
    """The lines of the recipe that a step comes from, innermost first."""
    return ", ".join(dict.fromkeys(f"{site.file}:{site.line}" for site in origin))


def _digest(sections: list[Data]) -> str:
    """A digest of all that the steps say: ticks are kept only for the very same steps."""
    return sha256("\n".join(_said(sections)).encode("utf-8")).hexdigest()[:16]


def _said(sections: list[Data]) -> Iterator[str]:
    for section in sections:
        for phase in section["phases"]:
            for step in phase["steps"]:
                yield f"{step['id']} {step['action']}"
                yield from _said_of(step)
                if step["other"] is not None:
                    yield f"{step['other']['said']} {step['other']['action']}"
                    yield from _said_of(step["other"])


def _said_of(step: Data) -> Iterator[str]:
    for fact in step["facts"]:
        yield fact["value"]
    if step["table"] is not None:
        for row in step["table"]["rows"]:
            yield "\t".join(row)
    yield from step["sees"]
