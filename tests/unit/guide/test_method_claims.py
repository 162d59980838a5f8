"""Every claim of the texts on method names the tests that hold it: `method_claims.toml`."""

import ast
import functools
import tomllib
from pathlib import Path

from tests.unit.guide.method_texts import checksum, texts

CLAIMS = Path(__file__).with_name("method_claims.toml")
TESTS = Path(__file__).parents[2]
KINDS = {"definition", "source", "caution"}


def claims():
    return tomllib.loads(CLAIMS.read_text("utf-8"))["claim"]


@functools.cache
def named_in(path):
    tree = ast.parse((TESTS / path).read_text("utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_text_has_its_claim_and_every_claim_its_text():
    """In the same order. A text whose words changed: read its tests again, mend the list, then
    write the checksum that is named here."""
    faults = []
    rows = [(claim["where"], claim["begins"], claim["checksum"]) for claim in claims()]
    found = list(texts())
    for where, text in found:
        row = next((row for row in rows if row[0] == where and text.startswith(row[1])), None)
        if row is None:
            faults.append(f"{where}: no claim for “{text[:60]}…”, checksum {checksum(text)}")
        elif row[2] != checksum(text):
            faults.append(f"{where}: “{row[1]}” changed, checksum {checksum(text)}")
    for where, begins, _ in rows:
        matches = [text for at, text in found if at == where and text.startswith(begins)]
        if len(matches) != 1:
            faults.append(f"{where}: “{begins}” begins {len(matches)} texts")
    assert not faults, "\n".join(faults)


def test_the_tests_that_are_named_exist():
    missing = [
        f"{claim['begins']}: {name}"
        for claim in claims()
        for name in claim.get("tests", ())
        if not (TESTS / name.partition("::")[0]).exists()
        or name.partition("::")[2] not in named_in(name.partition("::")[0])
    ]
    assert not missing, "\n".join(missing)


def test_a_claim_has_tests_or_says_why_it_needs_none():
    for claim in claims():
        tests, kind = claim.get("tests", []), claim.get("kind")
        assert bool(tests) is (kind is None), claim["begins"]
        assert kind is None or kind in KINDS, claim["begins"]
