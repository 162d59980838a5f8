"""People, their role in a program, and invitations."""

import hashlib
import secrets
import uuid
from collections.abc import Iterable

import pghistory
import pgtrigger
from django.apps import apps
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models, transaction
from django.db.models.functions import Lower, Now
from django.utils import timezone
from django.utils.translation import gettext_lazy
from knox.models import AbstractAuthToken


class Role(models.TextChoices):
    OBSERVER = "observer", gettext_lazy("Observer")
    COORDINATOR = "coordinator", gettext_lazy("Coordinator")
    PARTNER = "partner", gettext_lazy("Partner")


class PersonManager(BaseUserManager["Person"]):
    def create_person(self, *, email: str, name: str, password: str | None = None) -> "Person":
        """A person whose address is known to be theirs, such as by a link that was mailed there."""
        person = self.model(email=self.normalize_email(email).strip().lower(), name=name)
        person.set_password(password)
        with transaction.atomic():
            person.save()
            self.keep_addresses([person])
        return person

    def give_account(self, person: "Person", *, email: str, name: str, password: str) -> "Person":
        """An observer of the past joins; what is credited to them stays theirs."""
        person.email = self.normalize_email(email).strip().lower()
        person.name, person.is_active = name, True
        person.set_password(password)
        with transaction.atomic():
            person.save()
            self.keep_addresses([person])
        return person

    def keep_addresses(self, people: Iterable["Person"]) -> None:
        """Write the addresses of new people as confirmed. Only those sign in and get mail."""
        address = apps.get_model("account", "EmailAddress")
        address.objects.bulk_create(
            address(user=person, email=person.email.lower(), verified=True, primary=True)
            for person in people
        )

    def get_by_natural_key(self, email: str | None) -> "Person":
        return self.get(email__iexact=email)


class Person(AbstractBaseUser):
    """Someone who signs in, by e-mail. `email` is always a confirmed address of allauth's table;
    observers of the past have none, and no account (`past_observers.py`)."""

    # Null, not blank, so that many have none.
    email = models.EmailField(unique=True, null=True)  # noqa: DJ001
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    named_in_reports = models.BooleanField(
        default=False, help_text=gettext_lazy("My name may appear in published reports.")
    )
    joined_at = models.DateTimeField(default=timezone.now)

    objects = PersonManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        verbose_name_plural = "people"
        constraints = [models.UniqueConstraint(Lower("email"), name="person_email_unique")]
        triggers = [
            pgtrigger.Trigger(
                name="end_tokens",
                when=pgtrigger.After,
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__is_active=True, new__is_active=False),
                func="DELETE FROM accounts_accesstoken WHERE user_id = NEW.id; RETURN NULL;",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def has_account(self) -> bool:
        return self.email is not None

    def save(self, *args: object, **options: object) -> None:
        """A new password ends the tokens of the person. Django also stores a password anew at
        sign-in when it hashes better; that is no new password."""
        is_new_password = self._password is not None and not self._state.adding
        with transaction.atomic():
            super().save(*args, **options)
            if is_new_password:
                AccessToken.objects.filter(user=self).delete()


@pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent())
class Membership(models.Model):
    """A person's role in one program. Memberships are deactivated, not deleted."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="memberships")
    program = models.ForeignKey(
        "surveys.Program", on_delete=models.CASCADE, related_name="memberships"
    )
    role = models.CharField(max_length=12, choices=Role.choices)
    active = models.BooleanField(default=True)
    trained_on = models.DateField(null=True, blank=True)
    trained_until = models.DateField(null=True, blank=True)
    exact_places = models.BooleanField(
        default=False,
        help_text=gettext_lazy("May download exact locations of stops; each download is logged."),
    )

    class Meta:
        ordering = ["program", "person__name"]
        constraints = [
            models.UniqueConstraint(fields=["person", "program"], name="membership_once"),
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="membership_role_known"
            ),
        ]
        # Whatever ends or changes a membership, its tokens go, and a later change back does not
        # revive them.
        triggers = [
            pgtrigger.Trigger(
                name="end_tokens",
                when=pgtrigger.After,
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__role__df=pgtrigger.F("new__role"))
                | pgtrigger.Q(old__active__df=pgtrigger.F("new__active")),
                func="DELETE FROM accounts_accesstoken WHERE membership_id = NEW.id; RETURN NULL;",
            ),
            pgtrigger.Trigger(
                name="end_exact_tokens",
                when=pgtrigger.After,
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__exact_places=True, new__exact_places=False),
                func="DELETE FROM accounts_accesstoken"
                " WHERE membership_id = NEW.id AND scope = 'exact'; RETURN NULL;",
            ),
        ]


class Invitation(models.Model):
    """An invitation of one person by e-mail. Only a hash of the token is stored."""

    program = models.ForeignKey(
        "surveys.Program", on_delete=models.CASCADE, related_name="invitations"
    )
    email = models.EmailField()
    name = models.CharField(max_length=120, blank=True)
    role = models.CharField(max_length=12, choices=Role.choices)
    token_hash = models.CharField(max_length=64, unique=True)
    # The observer of the past whose visits are theirs once they join.
    person = models.ForeignKey(
        Person, on_delete=models.SET_NULL, null=True, blank=True, related_name="claims"
    )
    invited_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, related_name="invitations_sent"
    )
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    # Of somebody who asked for it by a joining link.
    by_link = models.ForeignKey(
        "JoiningLink",
        on_delete=models.DO_NOTHING,
        null=True,
        blank=True,
        db_constraint=False,
        db_index=False,
        related_name="invitations",
    )

    class Meta:
        ordering = ["-created_at"]


class JoiningLink(models.Model):
    """A link by which people invite themselves as observers, such as from a poster. Links are
    withdrawn, not deleted. Only a hash of the token is stored."""

    program = models.ForeignKey(
        "surveys.Program", on_delete=models.CASCADE, related_name="joining_links"
    )
    name = models.CharField(max_length=80)
    token_hash = models.CharField(max_length=64, unique=True)
    most_uses = models.IntegerField()
    created_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(most_uses__range=(1, 1000)), name="joininglink_most_uses"
            )
        ]


def new_token() -> str:
    return secrets.token_urlsafe(24)


def hash_token(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


class Scope(models.TextChoices):
    """What a token opens. Each includes the ones before it."""

    RESULTS = "results", gettext_lazy("Trends and publications")
    RECORDS = "records", gettext_lazy("Records of accepted visits too, with blurred locations")
    EXACT = "exact", gettext_lazy("Records with exact locations; each request is logged")


class AccessToken(AbstractAuthToken):
    """An API token of one member in one program. Only a hash of it is stored."""

    handle = models.UUIDField(unique=True, default=uuid.uuid4)
    membership = models.ForeignKey(Membership, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=60)
    scope = models.CharField(max_length=8, choices=Scope.choices)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(scope__in=Scope.values), name="accesstoken_scope_known"
            ),
            models.CheckConstraint(
                condition=models.Q(expiry__isnull=False), name="accesstoken_expires"
            ),
        ]


class RequestCount(models.Model):
    """API requests of a person or token since `begun_at`, counted across all processes."""

    key = models.CharField(max_length=80, primary_key=True)
    begun_at = models.DateTimeField()
    requests = models.PositiveIntegerField()


class SecurityAct(models.Model):
    """An act that touches an account, as a trigger of the database wrote it: see
    accounts/security_log.py. Rows are only added, and outlive what they speak of."""

    at = models.DateTimeField(db_default=Now())
    program = models.ForeignKey(
        "surveys.Program",
        on_delete=models.DO_NOTHING,
        null=True,
        db_constraint=False,
        related_name="+",
    )
    person = models.ForeignKey(
        Person, on_delete=models.DO_NOTHING, db_constraint=False, related_name="+"
    )
    by = models.ForeignKey(
        Person, on_delete=models.DO_NOTHING, null=True, db_constraint=False, related_name="+"
    )
    act = models.CharField(max_length=20)
    before = models.CharField(max_length=254)
    after = models.CharField(max_length=254)

    class Meta:
        indexes = [models.Index(fields=["program", "-at"], name="securityact_of_program")]
        triggers = [
            pgtrigger.Protect(name="add_only", operation=pgtrigger.Update | pgtrigger.Delete)
        ]
