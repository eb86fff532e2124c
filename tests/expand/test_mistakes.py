"""Each known mistake of writing shows its own message, by the samples that stand beside it."""

from __future__ import annotations

import pytest

from somite.grammar.mistakes import MISTAKES
from somite.parse import parse
from somite.text import Source

SAMPLES = [(mistake, sample) for mistake in MISTAKES for sample in mistake.samples]


@pytest.mark.parametrize(("mistake", "sample"), SAMPLES, ids=[sample for _, sample in SAMPLES])
def test_a_sample_shows_its_message_and_no_other(mistake, sample: str) -> None:
    _, findings = parse(Source("stall.somite", sample + "\n"))
    (finding,) = findings
    assert finding.code == "syntax"
    before, _, after = mistake.message.partition("{found}")
    assert finding.message.startswith(before) and finding.message.endswith(after)
    assert finding.help == mistake.help


def test_every_known_mistake_has_a_sample() -> None:
    assert all(mistake.samples for mistake in MISTAKES)


def test_messages_say_what_was_expected_and_what_was_found() -> None:
    for mistake in MISTAKES:
        assert mistake.message.startswith("expected ") and "found" in mistake.message
        assert not mistake.message.endswith(".") and not mistake.help.endswith(".")
