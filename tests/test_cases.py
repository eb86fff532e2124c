"""Every case of tests/cases is as it says; see the README there."""

from __future__ import annotations

import pytest
from cases_runner import FOLDER, Case, cases, held


@pytest.mark.parametrize("case", [pytest.param(case, id=case.name) for case in cases()])
def test_a_case_is_as_it_says(case: Case, request: pytest.FixtureRequest) -> None:
    problems = held(case, update=bool(request.config.getoption("--update")))
    assert not problems, "\n".join(problems)


def test_every_golden_belongs_to_a_case() -> None:
    stems = {case.golden for case in cases()}
    assert [path for path in sorted(FOLDER.rglob("*.golden")) if path not in stems] == []
