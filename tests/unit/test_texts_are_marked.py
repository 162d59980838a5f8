"""Every text that a person reads is marked for translation, found in the sources themselves.

tests/integration/test_pseudo_language.py asks the same of the screens as they are served.
"""

from pathlib import Path

from tests.support.for_each import for_each
from tests.support.marked import (
    files,
    in_python,
    in_script,
    in_template,
    pieces_in_template,
    sentences_in_python,
)

ROOT = Path(__file__).parents[2]
# A page for developers; the logo of a component.
NOT_READ = ("web/design.html", "api/docs.html", "components/theme_name.html", "allauth/")
TEMPLATES = [
    path
    for path in files(
        ROOT,
        "accounts/templates/**/*.html",
        "accounts/templates/**/*.txt",
        "surveys/**/templates/**/*.html",
        "surveys/**/templates/**/*.txt",
    )
    if not any(part in path.as_posix() for part in NOT_READ)
]
# A page for developers; what stands in files for machines, which are in English; titles that
# fixtures/texts.py marks.
NOT_SHOWN = (
    "surveys/web/design.py",
    "surveys/web/security_txt.py",
    "surveys/importing/columns.py",
    "surveys/importing/template.py",
    "surveys/publishing/citing.py",
    "surveys/publishing/places.py",
    "surveys/publishing/tables.py",
    "surveys/publishing/result_tables.py",
    "surveys/publishing/cells.py",
    "surveys/publishing/wetland_tables.py",
    "surveys/publishing/sighting_tables.py",
    "surveys/publishing/listening_tables.py",
)
PYTHON = [
    path
    for path in files(
        ROOT,
        "accounts/*.py",
        *(
            f"surveys/{area}/**/*.py"
            for area in (
                "web",
                "visits",
                "programs",
                "importing",
                "charts",
                "fitting",
                "protocol",
                "reminders",
            )
        ),
        *(f"surveys/{area}/*.py" for area in ("publishing", "reminders", "runs", "seasons")),
        "surveys/dates.py",
        "surveys/site_mode.py",
    )
    if not path.as_posix().endswith(NOT_SHOWN)
]
SCRIPTS = [
    path
    for path in files(ROOT, "surveys/web/**/static/**/*.js")
    if path.name not in ("sentences.js", "codes.js", "decimal.js")
]


@for_each("path", TEMPLATES, lambda path: path.relative_to(ROOT).as_posix())
def test_templates(path):
    assert list(in_template(path.read_text("utf-8"))) == []


@for_each("path", TEMPLATES, lambda path: path.relative_to(ROOT).as_posix())
def test_templates_have_whole_texts(path):
    assert list(pieces_in_template(path.read_text("utf-8"))) == []


@for_each("path", PYTHON, lambda path: path.relative_to(ROOT).as_posix())
def test_python(path):
    assert list(in_python(path.read_text("utf-8"))) == []


@for_each("path", PYTHON, lambda path: path.relative_to(ROOT).as_posix())
def test_python_has_no_unmarked_sentence(path):
    """But those that fixtures/texts.py marks, such as what a rule wants."""
    elsewhere = (ROOT / "fixtures" / "texts.py").read_text("utf-8")
    assert [
        text for text in sentences_in_python(path.read_text("utf-8")) if text not in elsewhere
    ] == []


@for_each("path", SCRIPTS, lambda path: path.relative_to(ROOT).as_posix())
def test_scripts(path):
    assert list(in_script(path.read_text("utf-8"))) == []


def test_an_unmarked_text_is_found():
    assert list(in_template("<p>Two words</p>")) == ["Two words"]
    assert list(in_template('<a title="Two words">{{ x }}</a>')) == ["Two words"]
    assert list(in_template('{% empty_state "Nothing here" %}')) == ["Nothing here"]
    assert list(in_template('{% translate "Two words" %} {# not this #} 12 km')) == []
    assert list(in_template('<pre title="Two words">not this</pre>')) == ["Two words"]
    assert list(pieces_in_template('{% translate ", until" %}')) == [", until"]
    unused = "{% blocktranslate with a=b count c=d %}{{ c }} of {{ e }}{% endblocktranslate %}"
    assert list(pieces_in_template(unused)) == ["a"]
    assert list(in_python('messages.success(request, f"{saved} is saved.")')) == ["█ is saved."]
    assert list(in_python('Field(label="Two words")')) == ["Two words"]
    assert list(in_python('Field(label=gettext_lazy("Two words"))')) == []
    assert list(in_python('Input({"aria-label": "Two words"})')) == ["Two words"]
    assert list(in_python('words = f"{species} at stop {stop}"')) == ["█ at stop █"]
    assert list(in_python('raise ValueError(f"not for a reader, {x}")')) == []
    assert list(sentences_in_python('text = "Two words."')) == ["Two words."]
    assert list(sentences_in_python('"Of a module."\ntext = gettext("Two words.")')) == []
    assert list(in_script('say("Two words.")')) == ["Two words."]
    assert list(in_script('say(gettext("Two words.")); h("div", { class: "two words" })')) == []
