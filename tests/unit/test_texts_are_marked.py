"""Every text that a person reads is marked for translation, found in the sources themselves.

tests/integration/test_pseudo_language.py asks the same of the screens as they are served.
"""

from pathlib import Path

import pytest

from tests.support.marked import files, in_python, in_script, in_template

ROOT = Path(__file__).parents[2]
# A page for developers; the logo of a component.
NOT_READ = ("web/design.html", "api/docs.html", "components/theme_name.html", "allauth/")
TEMPLATES = [
    path
    for path in files(ROOT, "accounts/templates/**/*.html", "surveys/**/templates/**/*.html")
    if not any(part in path.as_posix() for part in NOT_READ)
]
PYTHON = [
    path
    for path in files(ROOT, "accounts/*.py", "surveys/web/**/*.py", "surveys/visits/**/*.py",
                      "surveys/programs/*.py", "surveys/importing/*.py")
    if path.name not in ("design.py", "columns.py", "template.py")
]  # fmt: skip
SCRIPTS = [
    path
    for path in files(ROOT, "surveys/web/**/static/**/*.js")
    if path.name not in ("sentences.js", "codes.js", "decimal.js")
]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_templates(path):
    assert list(in_template(path.read_text("utf-8"))) == []


@pytest.mark.parametrize("path", PYTHON, ids=lambda path: path.name)
def test_python(path):
    assert list(in_python(path.read_text("utf-8"))) == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_scripts(path):
    assert list(in_script(path.read_text("utf-8"))) == []


def test_an_unmarked_text_is_found():
    assert list(in_template("<p>Two words</p>")) == ["Two words"]
    assert list(in_template('<a title="Two words">{{ x }}</a>')) == ["Two words"]
    assert list(in_template('{% empty_state "Nothing here" %}')) == ["Nothing here"]
    assert list(in_template('{% translate "Two words" %} {# not this #} 12 km')) == []
    assert list(in_python('messages.success(request, f"{saved} is saved.")')) == [" is saved."]
    assert list(in_python('Field(label="Two words")')) == ["Two words"]
    assert list(in_python('Field(label=gettext_lazy("Two words"))')) == []
    assert list(in_script('say("Two words.")')) == ["Two words."]
    assert list(in_script('say(gettext("Two words.")); h("div", { class: "two words" })')) == []
