"""A list of people to invite, as people paste it."""

import pytest

from accounts.invited_lists import MOST_PEOPLE, lines_of, read_list


@pytest.mark.parametrize(
    ("line", "email", "name"),
    [
        ("Ada Reed <Ada@Example.org>", "ada@example.org", "Ada Reed"),
        # Name and address as mailboxes are written in mail (RFC 5322, 3.4).
        ('"Reed, Ada" <ada@example.org>,', "ada@example.org", "Reed, Ada"),
        ("ada@example.org", "ada@example.org", ""),
        ("Ada Reed, ada@example.org", "ada@example.org", "Ada Reed"),
        ("ada@example.org;Ada Reed", "ada@example.org", "Ada Reed"),
        ("Ada\tReed\tada@example.org", "ada@example.org", "Ada Reed"),
    ],
)
def test_a_person_a_line(line, email, name):
    (person,) = read_list(f"\n{line}\n\n").people
    assert (person.line, person.email, person.name) == (2, email, name)


def test_heads_of_columns_are_no_one():
    assert [one.line for one in read_list("Name\tEmail\nAda\tada@example.org").people] == [2]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Ada Reed", "Line 1: there is no email address in “Ada Reed”"),
        ("ada@example.org\nada@example", "Line 2: “ada@example” is not a full email address"),
        ("ada@example.org\nBo <ADA@example.org>", "Line 2: ada@example.org is in line 1 already"),
        (f"{'x' * 121}, ada@example.org", "Line 1: the name is longer than 120 characters"),
        ("A\x00, ada@example.org", "Line 1: the name contains a character that cannot be saved"),
        ("  \n", "The list is empty"),
        ("\n".join(f"p{n}@example.org" for n in range(MOST_PEOPLE + 1)), "has 501 people"),
    ],
)
def test_a_problem_says_its_line(text, words):
    (problem,) = read_list(text).problems
    assert words in str(problem)


def test_rows_of_a_spreadsheet_become_lines():
    assert lines_of([("Name", "Email"), ("Ada\nReed", "ada@example.org"), ("", " ")]) == (
        "Name\tEmail\nAda Reed\tada@example.org\n"
    )
