"""The phone's rules against fixtures/rule_vectors.json: the same findings, the same words.

The file is made by the Python rules (deploy/generate).
"""

import json
from pathlib import Path

import pytest

from surveys.protocol.plain import from_plain, to_plain
from surveys.protocol.values import Case
from surveys.protocol.weather import (
    BEAUFORT,
    CALL_INDEX,
    NOISE,
    SKY,
)

FILE = json.loads((Path(__file__).parents[3] / "fixtures" / "rule_vectors.json").read_text("utf-8"))
ON_PHONE = set(FILE["on_phone"])
WITHOUT_A_CHECK = """async (base) => {
  const { RULES } = await import(`${base}/table.js`);
  return RULES.filter(([, , check]) => !check).map(([code]) => code);
}"""
RUN = """async ([base, vectors]) => {
  const { judge, CODES } = await import(`${base}/judge.js`);
  return [CODES, vectors.map(({ case: record, derived }) => judge(record, derived))];
}"""


def _as_sent(plain: dict) -> dict:
    """A case as the phone has it: route and protocol come from the server, which leaves no key
    out."""
    case = from_plain(Case, plain, at="case")
    return plain | {"route": to_plain(case.route), "protocol": to_plain(case.protocol)}


@pytest.fixture
def blank(open_context):
    """A page of this origin that runs nothing by itself."""
    page = open_context().new_page()
    page.goto("/static/web/mark.svg")
    return page


def test_every_vector(blank, live_server):
    base = f"{live_server.url}/static/survey/rules"
    assert blank.evaluate(WITHOUT_A_CHECK, base) == []
    records = [vector | {"case": _as_sent(vector["case"])} for vector in FILE["vectors"]]
    codes, answers = blank.evaluate(RUN, [base, records])
    assert codes == FILE["on_phone"]
    wrong = {}
    for vector, findings in zip(FILE["vectors"], answers, strict=True):
        expected = [finding for finding in vector["expect"] if finding["code"] in ON_PHONE]
        if findings != expected:
            wrong[vector["name"]] = {"expected": expected, "found": findings}
    assert wrong == {}
    assert sum(len(findings) for findings in answers) > 50


def test_codes_are_those_of_the_server(blank, live_server):
    codes = blank.evaluate(
        """async (base) => {
          const codes = await import(`${base}/codes.js`);
          return [codes.BEAUFORT, codes.SKY, codes.NOISE, [...codes.CALL_INDEX]];
        }""",
        f"{live_server.url}/static/survey/rules",
    )
    assert codes == [
        [[row.force, row.name, row.sign] for row in BEAUFORT],
        *([[key, words.name, words.sign] for key, words in told.items()] for told in (SKY, NOISE)),
        list(map(list, CALL_INDEX.items())),
    ]
