"""Which column means what: guessed from the headers and the cells, or chosen."""

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from surveys.importing.fields import FIELDS, Field, Level, plain, words_of
from surveys.importing.problems import Problem
from surveys.importing.table import Table
from surveys.importing.visit_weather import at_the_start
from surveys.language import gettext, said
from surveys.protocol.values import TemperatureUnit, rain_unit_beside

IGNORE = "ignore"
SPECIES = "species:"
ASK = "?"

_SLASHED = re.compile(r"\s*(\d{1,2})[/.-](\d{1,2})[/.-](\d{2}|\d{4})\b.*")
_CLOCK = re.compile(r"(?:\d{4}-\d{2}-\d{2} )?(\d{1,2})[:.h]?\d{2}(?:[:.]\d{2})?")
_HALF_OF_DAY = re.compile(r"\d\s*[ap]\.?\s*m\.?$", re.IGNORECASE)
# Below it names of other species are as much alike, such as those of the leopard frogs.
_ALIKE = 0.85
_LONE_UNIT = re.compile(r"\b([cf])$")


class MappingError(ValueError):
    """A mapping that cannot be used; the message says which part and why."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What one column means: a field and the form of its cells, a species, or nothing."""

    field: Field | None = None
    form: str = ""
    species: str = ""

    @property
    def code(self) -> str:
        if self.species:
            return SPECIES + self.species
        if self.field is None:
            return IGNORE
        return f"{self.field.code}:{self.form}" if self.form else self.field.code


NOTHING = Choice()


def choice_of(code: str, *, catalog: Mapping[str, str], fields: Sequence[Field] = FIELDS) -> Choice:
    """Read a code such as `night:dmy`, `air_temperature:F`, `species:<name>` or `ignore`.

    `catalog` leads from casefolded names of species to codes, `fields` are those of the program.
    Raises MappingError.
    """
    typed = code.strip()
    if typed.casefold() == IGNORE:
        return NOTHING
    if typed.casefold().startswith(SPECIES):
        name = typed[len(SPECIES) :].strip()
        species = catalog.get(name.casefold())
        if species is None:
            raise MappingError(said("“{name}” is not a species in the catalog.", name=name))
        return Choice(species=species)
    name, _, form = typed.partition(":")
    by_code = {known.code: known for known in fields}
    field = by_code.get(name.strip().casefold())
    if field is None:
        known = ", ".join(by_code)
        raise MappingError(
            said(
                "“{name}” is not a field. The fields are: {known}, species:<name>, ignore.",
                name=name.strip(),
                known=known,
            )
        )
    forms = {known.code.casefold(): known.code for known in field.forms}
    form = form.strip()
    if not field.forms:
        if form:
            raise MappingError(
                said("“{field}” has no units or forms to choose from.", field=field.code)
            )
        return Choice(field=field)
    if form == ASK:
        return Choice(field=field, form=ASK)
    chosen = forms.get(form.casefold()) if form else field.forms[0].code
    if chosen is None:
        raise MappingError(
            said(
                "“{form}” is not a form of “{field}”; choose one of {forms}.",
                form=form,
                field=field.code,
                forms=", ".join(forms.values()),
            )
        )
    return Choice(field=field, form=chosen)


def guess(
    table: Table,
    *,
    catalog: Mapping[str, str],
    temperature_unit: str,
    fields: Sequence[Field] = FIELDS,
) -> tuple[Choice, ...]:
    """What each column most likely means. A field is given to one column only, the
    first; columns that fit nothing are ignored. Misspelled species are guessed last, see `near`."""
    used: set[str] = set()
    choices = []
    headers = _without_groups(table)
    for position, header in enumerate(headers):
        choice = _guess_column(table, position, header, catalog, temperature_unit, fields)
        if choice is NOTHING and header != table.headers[position]:
            whole = table.headers[position]
            choice = _guess_column(table, position, whole, catalog, temperature_unit, fields)
        choices.append(_unused(choice, used))
    for position, header in enumerate(headers):
        if choices[position] is NOTHING and (code := _near_species(header, catalog)):
            choices[position] = _unused(Choice(species=code), used)
    return at_the_start(table, choices, fields)


def near(table: Table, choices: Sequence[Choice], catalog: Mapping[str, str]) -> frozenset[int]:
    """Positions of columns that are read as a species whose name is not quite the header."""
    return frozenset(
        position
        for position, (header, choice) in enumerate(
            zip(_without_groups(table), choices, strict=True)
        )
        if choice.species
        and choice.species == _near_species(header, catalog)
        and not any(name in catalog for name in _species_names(header))
    )


def _unused(choice: Choice, used: set[str]) -> Choice:
    key = choice.species or (choice.field.code if choice.field else "")
    if key and key in used:
        return NOTHING
    used.add(key)
    return choice


def _without_groups(table: Table) -> list[str]:
    """Headers without the words of the upper of two rows that stand above several columns, such as
    “Weather” or “Species”, where the lower words alone are no less distinct."""
    headers = list(table.headers)
    if table.name_rows == 1:
        return headers
    words = [header.split() for header in headers]
    shared = [
        max(_same(own, words[other]) for other in (at - 1, at + 1) if 0 <= other < len(words))
        if len(words) > 1
        else 0
        for at, own in enumerate(words)
    ]
    bare = [" ".join(own[number:]) for own, number in zip(words, shared, strict=True)]
    return [
        short if short and bare.count(short) == 1 else header
        for short, header in zip(bare, headers, strict=True)
    ]


def _same(own: Sequence[str], other: Sequence[str]) -> int:
    """How many words at the start are the same."""
    pairs = enumerate(zip(own, other, strict=False))
    return next((number for number, (one, two) in pairs if one != two), min(len(own), len(other)))


def _near_species(header: str, catalog: Mapping[str, str]) -> str:
    names = difflib.get_close_matches(plain(header), list(catalog), n=1, cutoff=_ALIKE)
    return catalog[names[0]] if names else ""


def with_explicit(
    table: Table,
    choices: Sequence[Choice],
    explicit: Iterable[tuple[str, str]],
    *,
    catalog: Mapping[str, str],
    fields: Sequence[Field] = FIELDS,
) -> tuple[Choice, ...]:
    """The choices, overruled by (header, code) pairs. Raises MappingError."""
    positions = {header.casefold(): position for position, header in enumerate(table.headers)}
    changed = list(choices)
    for header, code in explicit:
        position = positions.get(" ".join(header.split()).casefold())
        if position is None:
            known = ", ".join(f"“{name}”" for name in table.headers)
            raise MappingError(
                said(
                    "There is no column “{header}”. The columns are {known}.",
                    header=header,
                    known=known,
                )
            )
        changed[position] = choice_of(code, catalog=catalog, fields=fields)
    return tuple(changed)


def check(table: Table, choices: Sequence[Choice]) -> tuple[Problem, ...]:
    """What the mapping lacks or says twice, before any row is looked at."""
    problems: list[Problem] = []
    seen: dict[str, str] = {}
    for header, choice in zip(table.headers, choices, strict=True):
        if choice is NOTHING or choice.code == IGNORE:
            continue
        key = choice.species or choice.field.code
        if key in seen:
            problems.append(
                Problem(
                    column=header,
                    message=said(
                        "Both this column and “{other}” are read as the same thing.",
                        other=seen[key],
                    ),
                    remedy=gettext("Ignore one of the two."),
                )
            )
        seen.setdefault(key, header)
        if choice.form == ASK:
            problems.append(
                Problem(
                    column=header,
                    message=gettext("Dates like 3/4/2024 can be read in two ways."),
                    remedy=gettext("Say whether the day or the month comes first."),
                )
            )
    wanted = {
        "route": gettext("No column is read as the route."),
        "night": gettext("No column is read as the date of the evening."),
        "stop": gettext("No column is read as the stop number."),
    }
    return (*problems, *_missing(wanted, seen), *_check_shape(choices, seen))


def _missing(wanted: Mapping[str, str], seen: Mapping[str, str]) -> Iterator[Problem]:
    """A problem for each field that no column is read as."""
    for code, message in wanted.items():
        if code not in seen:
            yield Problem(message=message, remedy=gettext("Choose the column that holds it."))


def is_long(choices: Sequence[Choice]) -> bool:
    """One row for each stop and species, rather than a column for each species."""
    return any(choice.field and choice.field.level is Level.CALL for choice in choices)


def _check_shape(choices: Sequence[Choice], seen: Mapping[str, str]) -> tuple[Problem, ...]:
    wide = [choice for choice in choices if choice.species]
    if wide and is_long(choices):
        return (
            Problem(
                message=gettext(
                    "Some columns are read as single species, others as “Species” and "
                    "“Call index”: a file has either one or the other."
                ),
                remedy=gettext("Ignore the columns of one kind."),
            ),
        )
    if is_long(choices):
        wanted = {
            "species": gettext("No column is read as the species."),
            "index": gettext("No column is read as the call index."),
        }
        return tuple(_missing(wanted, seen))
    if not wide:
        return (
            Problem(
                message=gettext("No column is read as a species, so there would be no records."),
                remedy=gettext(
                    "Choose the columns that hold call indices, or “Species” and “Call index” "
                    "when there is one row for each species."
                ),
            ),
        )
    return ()


def _guess_column(
    table: Table,
    position: int,
    header: str,
    catalog: Mapping[str, str],
    temperature_unit: str,
    fields: Sequence[Field],
) -> Choice:
    bare = plain(header)
    for name in _species_names(header):
        if name in catalog:
            return Choice(species=catalog[name])
    without_unit = _LONE_UNIT.sub("", bare).strip()
    names = (bare, without_unit, words_of(header))
    field = next((found for name in names if (found := _field_named(name, fields))), None)
    if field is None:
        return NOTHING
    if not field.forms:
        return Choice(field=field)
    return Choice(
        field=field, form=_form(field, header, table.different_cells(position), temperature_unit)
    )


def _species_names(header: str) -> tuple[str, ...]:
    bare = plain(header)
    return (header.casefold().strip(), bare, words_of(header), bare.replace(" ", "-"))


def _field_named(name: str, fields: Sequence[Field]) -> Field | None:
    return next((f for f in fields if name in f.names or name == f.code.replace("_", " ")), None)


def _form(field: Field, header: str, cells: list[str], temperature_unit: str) -> str:
    words = f" {words_of(header)} "
    for form in field.forms:
        if any(f" {hint} " in words for hint in form.hints):
            return form.code
    codes = [form.code for form in field.forms]
    if "ymd" in codes:
        return date_form(cells)
    if temperature_unit in codes:
        return temperature_unit
    rain_unit = rain_unit_beside(TemperatureUnit(temperature_unit)).value
    if rain_unit in codes:
        return rain_unit
    if "12h" in codes:
        return _clock_form(cells)
    return codes[0]


def date_form(cells: Iterable[str]) -> str:
    """`ymd`, `dmy` or `mdy`, when the cells leave no doubt; otherwise `?`."""
    pairs = []
    for text in cells:
        match = _SLASHED.fullmatch(text)
        if match:
            pairs.append((int(match[1]), int(match[2])))
    if not pairs:
        return "ymd"
    day_first = any(first > 12 for first, _ in pairs)
    month_first = any(second > 12 for _, second in pairs)
    if day_first == month_first:
        return ASK
    return "dmy" if day_first else "mdy"


def _clock_form(cells: Iterable[str]) -> str:
    """`12h` when no time names its half of the day and all would be by day or early
    morning; what is no time says nothing."""
    hours = []
    for text in cells:
        if _HALF_OF_DAY.search(text):
            return "24h"
        match = _CLOCK.fullmatch(text)
        if match:
            hours.append(int(match[1]))
    return "12h" if hours and all(1 <= hour <= 12 for hour in hours) else "24h"
