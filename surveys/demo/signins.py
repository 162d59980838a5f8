"""Who can sign in to the demo, in words."""

from collections.abc import Iterator

from accounts.models import Membership
from surveys.demo.truths import read_people


class NotLoadedError(LookupError):
    """The people of the demo are not there."""


def sign_in_lines() -> Iterator[str]:
    """Three sign-ins: observer, coordinator and partner. Raises NotLoadedError."""
    people = read_people()
    wanted = people.sign_ins
    for email in (wanted.observer, wanted.coordinator, wanted.partner):
        members = list(
            Membership.objects.select_related("person", "program")
            .filter(person__email=email, active=True)
            .order_by("program__name")
        )
        if not members:
            raise NotLoadedError(email)
        programs = " and ".join(member.program.name for member in members)
        role = members[0].get_role_display()
        yield f"{role:<12} {email:<26} {programs}"
    yield f"Password for all three: {people.password}"
    yield "Places, people and numbers are invented; the recordings are synthetic."
