"""The history of visits by year: a year that is over changes no more, and may be kept elsewhere."""

from django.db import migrations

TABLES = (
    "surveys_visitevent",
    "surveys_listeningperiodevent",
    "surveys_storedfindingevent",
    "surveys_sightingevent",
    "surveys_callhistory",
)
ADD_YEAR = """
CREATE FUNCTION surveys_add_history_year(history text, year int) RETURNS void
LANGUAGE plpgsql AS $$
BEGIN
    IF to_regclass(history || '_' || year) IS NULL THEN
        EXECUTE format(
            'CREATE TABLE %I PARTITION OF %I FOR VALUES FROM (%L) TO (%L)',
            history || '_' || year, history,
            make_timestamptz(year, 1, 1, 0, 0, 0, 'UTC'),
            make_timestamptz(year + 1, 1, 1, 0, 0, 0, 'UTC')
        );
    END IF;
END $$
"""
# What is there becomes the partition of all years until now. It is looked through for rows of other
# years here, while everybody works, and not when it is attached.
LOOK_THROUGH = """
DO $$
DECLARE
    until timestamptz := make_timestamptz(extract(year FROM now())::int + 1, 1, 1, 0, 0, 0, 'UTC');
BEGIN
    EXECUTE format('ALTER TABLE {table} DROP CONSTRAINT IF EXISTS until_now');
    EXECUTE format(
        'ALTER TABLE {table} ADD CONSTRAINT until_now CHECK (pgh_created_at < %L) NOT VALID', until
    );
END $$
"""
VALIDATE = "ALTER TABLE {table} VALIDATE CONSTRAINT until_now"
# Primary keys of partitioned tables would have to name the year; numbers come from one sequence.
ATTACH = """
DO $$
DECLARE
    year int := extract(year FROM now());
    before text := '{table}_' || extract(year FROM now());
    key text := (
        SELECT a.attname FROM pg_index i JOIN pg_attribute a
            ON a.attrelid = i.indrelid AND a.attnum = i.indkey[0]
        WHERE i.indrelid = '{table}'::regclass AND i.indisprimary
    );
    last bigint;
    definition text;
BEGIN
    EXECUTE format('LOCK TABLE {table} IN ACCESS EXCLUSIVE MODE');
    EXECUTE format('SELECT coalesce(max(%I), 0) FROM {table}', key) INTO last;
    EXECUTE format('ALTER TABLE {table} ALTER %I DROP IDENTITY', key);
    EXECUTE format('ALTER TABLE {table} RENAME TO %I', before);
    EXECUTE format(
        'CREATE TABLE {table} (LIKE %I INCLUDING DEFAULTS INCLUDING CONSTRAINTS)
         PARTITION BY RANGE (pgh_created_at)', before
    );
    ALTER TABLE {table} DROP CONSTRAINT until_now;
    EXECUTE format('CREATE SEQUENCE {table}_number OWNED BY {table}.%I', key);
    PERFORM setval('{table}_number', last + 1, false);
    EXECUTE format('ALTER TABLE {table} ALTER %I SET DEFAULT nextval(%L)', key, '{table}_number');
    EXECUTE format(
        'ALTER TABLE {table} ATTACH PARTITION %I FOR VALUES FROM (MINVALUE) TO (%L)', before,
        make_timestamptz(year + 1, 1, 1, 0, 0, 0, 'UTC')
    );
    EXECUTE format('ALTER TABLE %I DROP CONSTRAINT until_now', before);
    FOR definition IN
        SELECT regexp_replace(indexdef, '^CREATE INDEX \\S+ ON \\S+', 'CREATE INDEX ON {table}')
        FROM pg_indexes WHERE tablename = before AND indexdef LIKE 'CREATE INDEX%'
    LOOP
        EXECUTE definition;
    END LOOP;
    EXECUTE 'CREATE TABLE {table}_later PARTITION OF {table} DEFAULT';
    PERFORM surveys_add_history_year('{table}', year + 1);
END $$
"""


class Migration(migrations.Migration):
    atomic = False

    dependencies = [
        ('surveys', '0056_call_history'),
    ]

    operations = [
        migrations.RunSQL(ADD_YEAR, "DROP FUNCTION surveys_add_history_year"),
        *(
            migrations.RunSQL(
                [one.replace("{table}", table) for one in (LOOK_THROUGH, VALIDATE, ATTACH)]
            )
            for table in TABLES
        ),
    ]
