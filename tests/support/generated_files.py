"""The files that follow from others: what the phone judges by, the vectors that hold the phone's
rules to the server's, the guide to the limits, and the texts of the fixtures for translators.
`deploy/generate` writes them; a test fails when they are stale.
"""

import json
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from surveys.language import Plural
from surveys.protocol.countries import countries
from surveys.protocol.hours import earliest_start, latest_end
from surveys.protocol.limits.checks import LONGEST_CODE, range_in_words
from surveys.protocol.limits.exact import exact
from surveys.protocol.limits.limit import Group, Kind, Limit
from surveys.protocol.limits.phrases import Units
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.plain import to_plain
from surveys.protocol.presets import presets_from_plain
from surveys.protocol.rules.judge import judge
from surveys.protocol.rules.table import RULES
from surveys.protocol.seasons import window_of
from surveys.protocol.sentences.vocabulary import CELLS, VOCABULARY
from surveys.protocol.telling import SENTENCES, Reader, tell
from surveys.protocol.values import Case, DistanceUnit, Finding, TemperatureUnit
from surveys.protocol.weather import BEAUFORT, CALL_INDEX, NOISE, SKY
from surveys.protocol.words import listed
from surveys.publishing.tables import TABLES
from surveys.trends.columns import COLUMNS, head_words
from surveys.visits.sheet.reading_rules import READING_RULES
from tests.support.rule_cases import CASES
from tests.support.rule_cases.writing import RuleCase, reader_of

_PROJECT = Path(__file__).parents[2]
_ON_PHONE = _PROJECT / "surveys" / "web" / "survey" / "static" / "survey" / "rules"
_GUIDE = _PROJECT / "surveys" / "guide" / "pages"
_FIXTURES = _PROJECT / "fixtures"
_NODE_MODULES = _PROJECT / "node_modules"
_DRAWING = _NODE_MODULES / "protomaps-leaflet"
_DRAWING_EXPORTS = (
    "CenteredTextSymbolizer",
    "LineLabelSymbolizer",
    "LineSymbolizer",
    "PolygonSymbolizer",
    "leafletLayer",
)
_VENDOR = _PROJECT / "surveys" / "web" / "static" / "web" / "vendor"
VECTORS_FILE = _FIXTURES / "rule_vectors.json"
_WIDTH = 110
_WRITTEN = "// Written by deploy/generate. Do not edit."
_ABOUT = [
    "Written by deploy/generate from tests/support/rule_cases. Do not edit.",
    "`case` has the plain form of surveys/protocol/plain.py; keys left out have their default.",
    "`derived` is what the server works out for the phone: the window and the hours of the stops.",
    "`expect` is every finding of every rule, in order: visit first, then by stop.",
    "A phone judges only the codes in `on_phone`. All carry their words.",
]


_LIMITS_PAGE = """
# The limits of a protocol

A protocol is a set of limits: when an evening starts and ends, how long you listen, in which \
weather, at how many stops. A coordinator sets them. A program may start from a preset and change \
any of its limits.

You can leave most limits empty. Then there is no such limit, and no rule asks about it. Once \
there are visits under a version, it never changes. A change makes a new version. Each visit is \
checked against the one in effect on its night.

Before you save a change, choose "What would it have asked last season?". It checks the visits of \
the last season under the changed limits. By rule and route, it lists the visits that would get a \
new question or must-fix, and those that would lose one. Nothing is saved. Compare versions, under \
Program, Protocol, shows two versions side by side.

The lowest air and water temperatures belong to the survey windows, because spring and summer \
need different ones. See [Why was this asked?](/guide/rules/) for how each rule uses the limits.
"""
# The phone leaves the date of the night and the members to the server.
_ONLY_OF_DATES = {
    "cell-unreadable.date",
    "cell-unreadable.date-order",
    "cell-unreadable.calendar",
    "cell-unreadable.person",
    "cell-out-of-range.date",
}
_METRIC = Units(temperature=TemperatureUnit.CELSIUS, distance=DistanceUnit.KILOMETERS)


def phone_table() -> str:
    """The module that names the phone's rules: code, severity and check of each, in order; and code
    and severity of what it says of cells that cannot be read."""
    on_phone = [rule for rule in RULES if rule.on_phone]
    modules = dict.fromkeys(rule.module for rule in on_phone)
    imports = [f'import * as {name} from "./{name}.js";' for name in sorted(modules)]
    rows = [
        f'  ["{rule.code}", "{rule.severity}", {rule.module}.{_camel_case(rule.code)}],'
        for rule in on_phone
    ]
    reading = [f'  "{r.code}": "{r.severity}",' for r in READING_RULES if not r.only_here]
    return _lines(
        _WRITTEN,
        *imports,
        "",
        "export const RULES = [",
        *rows,
        "];",
        "",
        "export const READING = {",
        *reading,
        "};",
    )


def phone_codes() -> str:
    """The module of the codes that the phone offers, with their words."""
    beaufort = [[row.force, row.name, row.sign] for row in BEAUFORT]
    lines = [_WRITTEN, "export const BEAUFORT = [", *map(_row, beaufort), "];"]
    for name, states in {"SKY": SKY, "NOISE": NOISE}.items():
        rows = [[state, words.name, words.sign] for state, words in states.items()]
        lines += ["", f"export const {name} = [", *map(_row, rows), "];"]
    lines += ["", "export const CALL_INDEX = new Map([", *map(_row, CALL_INDEX.items()), "]);"]
    return _lines(*lines)


def phone_sentences() -> str:
    """The module of the sentences of the phone's rules: message and remedy of each variant. A
    message with a number is its two forms and the place of the number."""
    codes = {rule.code for rule in RULES if rule.on_phone}
    codes |= {rule.code for rule in READING_RULES if not rule.only_here}
    sentences = {
        key: [
            [text.singular, text.plural, text.by] if isinstance(text, Plural) else text,
            list(sentence.remedy),
        ]
        for key, sentence in SENTENCES.items()
        if key.partition(".")[0] in codes and key not in _ONLY_OF_DATES
        for text in [sentence.message]
    }
    lines = [_WRITTEN, "export const SENTENCES = {"]
    for key, words in sentences.items():
        lines += _broken(f"  {_json(key)}: ", words)
    lines += ["};", "", "export const VOCABULARY = {"]
    lines += [f"  {key}: {_json(words)}," for key, words in VOCABULARY.items()]
    lines += ["};", "", "export const CELLS = {"]
    lines += [f"  {key}: {_json(words)}," for key, words in CELLS.items()]
    return _lines(*lines, "};")


def vectors() -> str:
    """Every case with what the server works out for it, and the findings of the Python rules."""
    on_phone = [rule.code for rule in RULES if rule.on_phone]
    return _lines(
        "{",
        f' "about": {_json(_ABOUT)},',
        f' "on_phone": {_json(on_phone)},',
        ' "vectors": [',
        ",\n".join(map(_vector, CASES)),
        "]}",
    )


def limits_page() -> str:
    """The page of the guide that lists every limit, in Markdown."""
    lines = [_LIMITS_PAGE.strip()]
    for group in Group:
        lines += [
            "",
            f"## {group.value}",
            "",
            "| Limit | What it is | Allowed values | If left empty |",
            "|---|---|---|---|",
        ]
        lines += [_limit_row(limit) for limit in LIMITS if limit.group is group]
    return _lines(*lines)


def fixture_texts() -> str:
    """The module that marks what people read of the fixtures, the rules, the published tables and
    the list of countries."""
    texts = [
        *_rule_texts(),
        *_preset_texts(),
        *_catalog_texts(),
        *_table_texts(),
        *countries().values(),
    ]
    return _lines(
        '"""Texts that are stored in English and translated when they are read, marked for'
        " `makemessages`.",
        "",
        "Written by deploy/generate from the other files of this folder, the rules, the published",
        "tables and the list of countries.",
        '"""',
        "",
        "# fmt: off",
        "# ruff: noqa: E501",
        "from surveys.language import gettext_noop",
        "",
        *(f"gettext_noop({_json(text)})" for text in dict.fromkeys(filter(None, texts))),
    )


def _rule_texts() -> Iterator[str]:
    return (rule.summary for rule in (*RULES, *READING_RULES))


def _preset_texts() -> Iterator[str]:
    content = json.loads((_FIXTURES / "protocol_presets.json").read_text("utf-8"))
    found = presets_from_plain(content)
    for entry in found.published:
        yield from (entry.words, entry.source)
    for preset in found.presets:
        yield from (preset.summary, preset.protocol.name)
        yield from (window.name for window in preset.protocol.windows)


def _catalog_texts() -> Iterator[str]:
    content = json.loads((_FIXTURES / "species.json").read_text("utf-8"))
    for species in content["species"]:
        yield from (*species["call"].split("; "), species.get("note", ""))
    yield from (region["name"] for region in content["regions"])
    for group in content["look_alikes"]:
        yield from (group["name"], group["how"], *group.get("other_sounds", []))


def _table_texts() -> Iterator[str]:
    """Titles of published tables, and the heads and meanings of columns that screens show."""
    for table in TABLES:
        yield table.title
        yield from (head_words(column.name) for column in table.columns)
    yield from (column.meaning for column in COLUMNS)


def drawing_module() -> str:
    """The library that draws vector tiles, as a module. Its package has one for bundlers, which
    imports packages by name, and a script that sets a global."""
    script = (_DRAWING / "dist" / "protomaps-leaflet.js").read_text("utf-8")
    used = ", ".join(_DRAWING_EXPORTS)
    return _lines(
        "// Made by deploy/generate from the npm package protomaps-leaflet; licenses beside it.",
        script.partition("//# sourceMappingURL")[0].strip(),
        f"export const {{ {used} }} = protomapsL;",
    )


def drawing_licenses() -> str:
    """Of the library and of the packages that its script contains."""
    dependencies = json.loads((_DRAWING / "package.json").read_text("utf-8"))["dependencies"]
    inside = [name for name in dependencies if not name.startswith("@types/")]
    # Packages of packages: pmtiles unpacks with fflate, rbush selects with quickselect.
    names = ["protomaps-leaflet", *inside, "fflate", "quickselect"]
    texts = [_license(name) for name in names]
    return _lines(*(line.rstrip() for text in texts for line in text.splitlines()))


def _license(name: str) -> str:
    folder = _NODE_MODULES / name
    package = json.loads((folder / "package.json").read_text("utf-8"))
    files = [path for path in sorted(folder.iterdir()) if path.stem.upper() == "LICENSE"]
    text = files[0].read_text("utf-8").strip() if files else "Its text is that of the first entry."
    return f"## {name} {package['version']}: {package.get('license', 'see below')}\n\n{text}\n"


FILES = {
    _ON_PHONE / "table.js": phone_table,
    _ON_PHONE / "codes.js": phone_codes,
    _ON_PHONE / "sentences.js": phone_sentences,
    VECTORS_FILE: vectors,
    _FIXTURES / "texts.py": fixture_texts,
    _GUIDE / "limits.md": limits_page,
    _VENDOR / "protomaps-leaflet.mjs": drawing_module,
    _VENDOR / "LICENSES.txt": drawing_licenses,
}


def write() -> None:
    for path, content in FILES.items():
        path.write_text(content(), "utf-8")


def _vector(rule_case: RuleCase) -> str:
    case = rule_case.read()
    reader = reader_of(case)
    findings = ",".join(f"\n    {_json(_finding(finding, reader))}" for finding in judge(case))
    return (
        f' {{"name": {_json(rule_case.name)}, "rule": {_json(rule_case.rule)},\n'
        f'   "case": {_json(rule_case.plain)},\n'
        f'   "derived": {_json(_derived(case))},\n'
        f'   "expect": [{findings}]}}'
    )


def _derived(case: Case) -> dict[str, Any]:
    window = window_of(case.visit.night, case.protocol)
    hours = {}
    for stop in case.route.stops:
        sky = case.sky.get(stop.number)
        earliest = earliest_start(case.protocol, sky)
        latest = latest_end(case.protocol, sky, case.visit.night, case.route.time_zone)
        if earliest or latest:
            hours[str(stop.number)] = {
                "earliest_start": to_plain(earliest),
                "latest_end": to_plain(latest),
            }
    return {"window": window.name if window else None, "hours": hours}


def _finding(finding: Finding, reader: Reader) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        **to_plain(finding.where),
        "variant": finding.variant,
        "params": dict(finding.params),
        **vars(tell(finding, reader)),
    }


def _limit_row(limit: Limit) -> str:
    units = {"long": "kilometers or miles", "short": "meters or feet", "degrees": "°C or °F"}
    if limit.default is not None:
        shown = exact(limit, limit.default, _METRIC).replace(".0 ", " ") or "none"
        otherwise = f"{shown[0].lower()}{shown[1:]}"
    else:
        otherwise = "no limit" if limit.may_be_unset else "must be set"
    cells = (
        limit.label.format(**units),
        limit.help.format(**units),
        _possible(limit),
        otherwise,
    )
    return f"| {' | '.join(cells)} |"


def _possible(limit: Limit) -> str:
    if limit.kind is Kind.FORCE:
        return f"{listed(limit.choices, last='or')}, see [Wind, sky and noise](/guide/weather/)"
    if limit.kind is Kind.CODE_TABLE:
        return f"a code of one to {LONGEST_CODE} letters or digits for each"
    if limit.choices:
        words = (str(text).partition(":")[0] for text in limit.choices.values())
        return "; ".join(words).lower()
    if limit.kind is Kind.CLOCK:
        return "any time"
    if limit.kind is Kind.YES_NO:
        return "yes or no"
    return range_in_words(limit)


def _camel_case(code: str) -> str:
    first, *others = code.split("-")
    return first + "".join(word.capitalize() for word in others)


def _broken(head: str, value: Any, indent: str = "  ") -> list[str]:
    """A JSON value as Biome formats it: on one line if it fits, else an item a line. Biome does
    not break texts, so long ones are broken here."""
    line = f"{head}{_json(value)},"
    if isinstance(value, str):
        parts = textwrap.wrap(value, _WIDTH - 15, drop_whitespace=False)
        first, *others = map(_json, parts)
        return [f"{head}{first}{' +' if others else ','}"] + [
            f"{indent}  {part}{',' if part is others[-1] else ' +'}" for part in others
        ]
    if len(line) <= _WIDTH and not all(isinstance(item, list) for item in value):
        return [line]
    inner = indent + "  "
    items = [part for item in value for part in _broken(inner, item, inner)]
    return [f"{head}[", *items, f"{indent}],"]


def _row(values: Any) -> str:
    return f"  {_json(list(values))},"


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _lines(*lines: str) -> str:
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    write()
