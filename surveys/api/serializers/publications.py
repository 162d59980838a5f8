"""Publications, their files, and the runs that make them."""

from typing import Any, TypedDict

from django.urls import reverse
from rest_framework import serializers

from accounts.access import (
    Permission,
    may,
)
from surveys.models import (
    BackgroundRun,
    Publication,
    PublicationFile,
)
from surveys.publishing.described import withdrawn_facts
from surveys.publishing.withdrawing import newest_standing


class WithdrawnFacts(TypedDict):
    at: str
    reason: str


class PublicationRowSerializer(serializers.ModelSerializer):
    """`published_by` is told to members who see observers; to others it is null. `withdrawn` says
    when and why its files were deleted; null while it stands."""

    published_by = serializers.SerializerMethodField()
    withdrawn = serializers.SerializerMethodField()

    class Meta:
        model = Publication
        fields = [
            "season_year",
            "version",
            "title",
            "row_count",
            "visit_count",
            "sha256",
            "software",
            "reason",
            "published_by",
            "published_at",
            "withdrawn",
        ]
        read_only_fields = fields

    def get_withdrawn(self, publication: Publication) -> WithdrawnFacts | None:
        return withdrawn_facts(publication)

    def get_published_by(self, publication: Publication) -> str | None:
        if may(self.context["member"], Permission.READ_SEASONS):
            return publication.published_by.name
        return None


class PublicationFileSerializer(serializers.ModelSerializer):
    url = serializers.SerializerMethodField()

    class Meta:
        model = PublicationFile
        fields = ["kind", "meaning", "media_type", "rows", "bytes", "sha256", "url"]
        read_only_fields = fields

    def get_url(self, file: PublicationFile) -> str:
        publication = file.publication
        return reverse(
            "api:publication_file",
            kwargs={
                "program": publication.program.slug,
                "season_year": publication.season_year,
                "version": publication.version,
                "kind": file.kind,
            },
        )


class PublicationSerializer(PublicationRowSerializer):
    """A publication with its method and its files; `newest_version` replaces it when larger; it
    is null where every version was withdrawn."""

    files = serializers.SerializerMethodField()
    newest_version = serializers.SerializerMethodField()

    class Meta(PublicationRowSerializer.Meta):
        fields = [*PublicationRowSerializer.Meta.fields, "newest_version", "method", "files"]
        read_only_fields = fields

    def get_newest_version(self, publication: Publication) -> int | None:
        newest = newest_standing(publication.program, publication.season_year)
        return newest.version if newest else None

    def get_files(self, publication: Publication) -> list[dict[str, Any]]:
        return PublicationFileSerializer(self.context["files"], many=True).data


class PublishSerializer(serializers.Serializer):
    """`seen` is the checksum of the yearly table that was looked at before."""

    season_year = serializers.IntegerField(min_value=1900, max_value=2200)
    reason = serializers.CharField(required=False, allow_blank=True, default="")
    seen = serializers.CharField(required=False, allow_null=True, default=None)


class PublishingRunSerializer(serializers.ModelSerializer):
    """How far a publication has come; `problem` says in words why there is none."""

    season_year = serializers.IntegerField(source="options.season_year", read_only=True)
    state = serializers.CharField(help_text="queued, running, done, refused or failed")
    version = serializers.IntegerField(source="result.version", default=None, read_only=True)

    class Meta:
        model = BackgroundRun
        fields = [
            "id",
            "season_year",
            "state",
            "step",
            "done",
            "total",
            "problem",
            "version",
            "asked_at",
            "finished_at",
        ]
        read_only_fields = fields
