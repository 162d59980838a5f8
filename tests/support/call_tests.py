"""Call-identification tests for tests: one that is set, and tries with the answers that are asked
for."""

from collections.abc import Callable, Mapping

from accounts.models import Membership
from surveys.learning import call_tests
from surveys.models import CallTest, CallTestTry
from surveys.sound.questions import Question

Named = Mapping[str, int | None]


def make_test(coordinator: Membership, *species: str, **terms: int) -> CallTest:
    values = {
        "questions": 6,
        "pass_overall": 80,
        "pass_species": 50,
        "valid_months": 12,
        "tries_allowed": 3,
    }
    return CallTest.objects.create(
        program=coordinator.program,
        set_by=coordinator.person,
        species=list(species),
        **values | terms,
    )


def make_try(coordinator: Membership, member: Membership, *species: str) -> CallTestTry:
    """A try under way at a new test, with no answer yet."""
    make_test(coordinator, *species)
    return call_tests.begin(member)


def answer_all(
    member: Membership, taken: CallTestTry, named: Callable[[Question], Named]
) -> CallTestTry:
    """Answers every question that is left; `named` says how."""
    while stored := call_tests.next_question(member, taken.pk):
        question = Question.from_plain(stored.question)
        call_tests.answer(member, taken.pk, stored.number, named(question))
    taken.refresh_from_db()
    return taken


def rightly(question: Question) -> Named:
    """What calls, with its index; of a recording, whose index is not known, 1."""
    return {code: index or 1 for code, index in question.there.items()}
