"""Sharing settings, access tokens, the consent to be named, and who took exact places."""

import csv
import io

import pytest
from django.urls import reverse

from accounts.models import (
    AccessToken,
    Membership,
    Role,
)
from accounts.people import set_exact_places
from surveys.models import (
    ExactDownload,
    Program,
    PublicationAudience,
    Sensitivity,
)
from surveys.publishing.exact import note_exact_download
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_route,
)

pytestmark = pytest.mark.django_db


def url(name, program, **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs})


@pytest.fixture
def page(coordinator, client_for):
    return client_for(coordinator)


def settings_of(**changes) -> dict[str, object]:
    return {
        "place_sharing": Sensitivity.MEDIUM.value,
        "publication_audience": PublicationAudience.MEMBERS.value,
        "data_license": "CC-BY-4.0",
        **changes,
    }


class TestSharing:
    def test_how_far_off_a_place_may_be_is_in_the_units_of_the_program(self, program, page):
        make_route(program)
        address = url("sharing", program)
        assert "99 m" in page.get(address).content.decode()
        Program.objects.filter(pk=program.pk).update(distance_unit="mi")
        shown = page.get(address).content.decode()
        assert "325 ft" in shown
        assert "99 m" not in shown

    def test_settings_are_saved_with_their_history(self, program, page):
        address = url("sharing", program)
        typed = settings_of(
            place_sharing=3,
            publication_audience="public",
            data_license="CC0-1.0",
        )
        seen = page.get(address).context["form"].seen_text
        answer = page.post(address, typed | {"seen": seen})
        assert answer.status_code == 302
        program.refresh_from_db()
        assert (
            program.place_sharing,
            program.publication_audience,
            program.data_license,
        ) == (Sensitivity.HIGH, PublicationAudience.PUBLIC, "CC0-1.0")
        levels = program.events.order_by("pgh_id").values_list("place_sharing", flat=True)
        assert list(levels) == [Sensitivity.MEDIUM, Sensitivity.HIGH]

    @pytest.mark.parametrize(
        "change",
        [
            {"place_sharing": "7"},
            {"publication_audience": "all"},
            {"data_license": "none"},
        ],
    )
    def test_invalid_settings_are_refused(self, program, page, change):
        answer = page.post(url("sharing", program), settings_of(**change))
        assert answer.status_code == 422
        program.refresh_from_db()
        assert program.publication_audience == PublicationAudience.MEMBERS

    def test_example_is_a_stop_of_the_program(self, program, observer, page):
        (gopher,) = make_checklist(program, "Lithobates capito")
        route = make_route(program)
        text = page.get(url("sharing", program)).content.decode()
        for seen in ("43.0731, -89.4012", "43.0735, -89.4015", "43.075, -89.405", "43.05, -89.45"):
            assert seen in text
        assert '<td class="num" data-label="Routes at this level now">1</td>' in text
        program.checklist.update(sensitivity=Sensitivity.EXTREME)
        make_accepted_visit(route, observer.person, heard={1: {gopher: 1}})
        rows = page.get(url("sharing", program)).context["levels"]
        assert [row["routes"] for row in rows] == [0, 0, 0, 0, 1]

    def test_page_works_without_stops(self, program, page):
        assert page.get(url("sharing", program)).status_code == 200

    @pytest.mark.parametrize("audience", PublicationAudience)
    def test_public_url_depends_on_the_audience(self, program, page, audience):
        program.publication_audience = audience
        program.save()
        link = page.get(url("sharing", program)).context["link"]
        assert (
            link
            == {
                PublicationAudience.MEMBERS: "",
                PublicationAudience.LINK: f"http://testserver/published/{program.slug}/by-link/"
                f"{program.publication_key}/",
                PublicationAudience.PUBLIC: f"http://testserver/published/{program.slug}/",
            }[audience]
        )

    def test_renewing_the_link(self, program, page):
        before = program.publication_key
        page.post(url("sharing_renew", program))
        program.refresh_from_db()
        assert program.publication_key != before
        assert len(program.publication_key) >= 43


class TestExactPlaces:
    def test_right_to_exact_places_is_granted_on_the_persons_page(self, program, partner, page):
        facts = {"role": "partner", "trained_on": "", "trained_until": ""}
        address = url("people_person", program, membership=partner.pk)
        assert b"Exact coordinates and names of all stops" in page.get(address).content
        for allowed in (True, False):
            seen = page.get(address).context["form"].seen_text
            facts |= {"seen": seen}
            page.post(address, {**facts, **({"exact_places": "on"} if allowed else {})})
            partner.refresh_from_db()
            assert partner.exact_places is allowed
        rights = Membership.objects.get(pk=partner.pk).events.order_by("pgh_id")
        assert [event.exact_places for event in rights] == [False, True, False]

    def test_the_list_and_its_csv(self, program, partner, coordinator, page):
        set_exact_places(coordinator, partner.pk, True)
        partner.refresh_from_db()
        partner.person.name = "=cmd()"
        partner.person.save()
        note_exact_download(partner, what="Stops", path="/api/v1/x/?places=exact")
        note_exact_download(coordinator, what="exact/stops.csv", path="/x/" + "y" * 400)
        text = page.get(url("exact_downloads", program)).content.decode()
        assert text.index("exact/stops.csv") < text.index("/api/v1/x/?places=exact")
        answer = page.get(url("exact_downloads_csv", program))
        header, *lines = csv.reader(io.StringIO(answer.content.decode(), newline=""))
        assert header == ["at", "person", "email", "what", "path", "token"]
        assert [line[1] for line in lines] == [coordinator.person.name, "'=cmd()"]
        assert ExactDownload.objects.filter(path__endswith="y").count() == 1

    def test_list_shows_downloads_of_the_program_only(self, program, page):
        other = make_member(
            type(program).objects.create(name="Other", slug="other", time_zone="UTC"),
            Role.COORDINATOR,
        )
        note_exact_download(other, what="Their stops", path="/")
        assert b"Their stops" not in page.get(url("exact_downloads", program)).content
        assert b"Their stops" not in page.get(url("exact_downloads_csv", program)).content

    def test_the_number_of_queries_does_not_grow(
        self, program, coordinator, page, django_assert_max_num_queries
    ):
        for number in range(60):
            note_exact_download(coordinator, what=f"{number}", path="/")
        with django_assert_max_num_queries(9):
            answer = page.get(url("exact_downloads", program))
        assert answer.content.count(b'data-label="What"') == 50


class TestTokens:
    def test_a_token_is_shown_once(self, program, partner, client_for):
        client = client_for(partner)
        response = client.post(
            url("tokens", program), {"name": "report", "scope": "records", "days": "90"}
        )
        secret = response.context["new_token"].secret
        assert secret in response.content.decode()
        assert response.headers["Cache-Control"] == "private, no-store"
        again = client.get(url("tokens", program)).content.decode()
        assert "report" in again
        assert secret not in again
        api = f"/api/v1/{program.slug}/trends/"
        assert client.get(api, headers={"Authorization": f"Bearer {secret}"}).status_code == 200

    def test_invalid_form_keeps_what_was_typed(self, program, partner, client_for):
        answer = client_for(partner).post(
            url("tokens", program), {"name": "report", "scope": "exact", "days": "90"}
        )
        assert answer.status_code == 422
        assert b'value="report"' in answer.content
        assert not AccessToken.objects.exists()

    @pytest.mark.parametrize("right", [True, False])
    def test_exact_places_are_offered_to_those_with_the_right(
        self, program, partner, client_for, right
    ):
        partner.exact_places = right
        partner.save()
        form = client_for(partner).get(url("tokens", program)).context["form"]
        assert ("exact" in dict(form.fields["scope"].choices)) is right

    def test_members_revoke_only_their_own_tokens(self, program, partner, observer, client_for):
        client_for(partner).post(
            url("tokens", program), {"name": "report", "scope": "records", "days": "90"}
        )
        address = url("token_take_back", program, handle=AccessToken.objects.get().handle)
        assert client_for(observer).post(address).status_code == 404
        assert client_for(partner).post(address).status_code == 302
        assert not AccessToken.objects.exists()


def test_consent_to_be_named_is_personal(observer, client_for):
    client = client_for(observer)
    for named in (True, False):
        client.post(reverse("web:named"), {"named": "on"} if named else {})
        observer.person.refresh_from_db()
        assert observer.person.named_in_reports is named
