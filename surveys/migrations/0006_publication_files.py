import hashlib

from django.db import migrations

PLAIN_TEXT = "text/plain; charset=utf-8"
CSV = "text/csv; charset=utf-8; header=present"


def make_files(apps, schema_editor):
    """Publications from before they had files: the texts they held become files."""
    files = apps.get_model("surveys", "PublicationFile")
    pieces = apps.get_model("surveys", "PublicationPiece")
    for publication in apps.get_model("surveys", "Publication").objects.iterator():
        texts = [
            ("table.csv", "The yearly table", CSV, publication.table_csv),
            ("dictionary.csv", "What each column means", CSV, publication.dictionary_csv),
            ("method.txt", "How the table was made", PLAIN_TEXT, publication.method),
        ]
        sums = "".join(f"{sha256_of(text)}  {kind}\n" for kind, _, _, text in texts)
        texts.append(("SHA256SUMS.txt", "Checksums of all files", PLAIN_TEXT, sums))
        for order, (kind, meaning, media_type, text) in enumerate(texts):
            content = text.encode()
            file = files.objects.create(
                publication=publication,
                order=order,
                kind=kind,
                meaning=meaning,
                media_type=media_type,
                audience="open",
                rows=publication.row_count if kind == "table.csv" else None,
                bytes=len(content),
                sha256=sha256_of(text),
            )
            for number, start in enumerate(range(0, len(content), 1 << 20)):
                pieces.objects.create(
                    file=file, number=number, content=content[start : start + (1 << 20)]
                )
    # Columns cannot be dropped while rows wait to be checked.
    schema_editor.execute("SET CONSTRAINTS ALL IMMEDIATE")


def sha256_of(text):
    return hashlib.sha256(text.encode()).hexdigest()


class Migration(migrations.Migration):

    dependencies = [("surveys", "0005_recordings_and_publications")]

    operations = [
        migrations.RunPython(make_files, migrations.RunPython.noop),
        migrations.RemoveField(model_name="publication", name="table_csv"),
        migrations.RemoveField(model_name="publication", name="dictionary_csv"),
    ]
