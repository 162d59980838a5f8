"""A table as a file that the browser saves."""

from django.http import HttpResponse

from surveys.publishing.formats.yearly_csv import MEDIA_TYPE


def csv_file(text: str, name: str) -> HttpResponse:
    return HttpResponse(
        text.encode(),
        content_type=MEDIA_TYPE,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
