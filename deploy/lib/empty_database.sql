-- Drop what the tables, views, functions and types of an installation are,
-- and leave alone what belongs to an extension such as PostGIS.
DO $$
DECLARE
    statement text;
BEGIN
    -- A sequence of an identity goes with its table; a partitioned table depends on its own columns.
    FOR statement IN
        SELECT format(
            'DROP %s IF EXISTS %I.%I CASCADE',
            CASE c.relkind WHEN 'v' THEN 'VIEW' WHEN 'm' THEN 'MATERIALIZED VIEW'
                WHEN 'S' THEN 'SEQUENCE' ELSE 'TABLE' END,
            n.nspname, c.relname)
        FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
        WHERE c.relkind IN ('r', 'p', 'v', 'm', 'S')
            AND n.nspname NOT IN ('pg_catalog', 'information_schema') AND n.nspname !~ '^pg_'
            AND NOT EXISTS (SELECT FROM pg_depend d
                WHERE d.classid = 'pg_class'::regclass AND d.objid = c.oid
                    AND d.deptype IN ('e', 'i') AND d.refobjid <> c.oid)
    LOOP
        EXECUTE statement;
    END LOOP;

    FOR statement IN
        SELECT format('DROP ROUTINE IF EXISTS %s CASCADE', p.oid::regprocedure)
        FROM pg_proc p JOIN pg_namespace n ON n.oid = p.pronamespace
        WHERE n.nspname NOT IN ('pg_catalog', 'information_schema') AND n.nspname !~ '^pg_'
            AND NOT EXISTS (SELECT FROM pg_depend d
                WHERE d.classid = 'pg_proc'::regclass AND d.objid = p.oid AND d.deptype = 'e')
    LOOP
        EXECUTE statement;
    END LOOP;

    FOR statement IN
        SELECT format('DROP TYPE IF EXISTS %I.%I CASCADE', n.nspname, t.typname)
        FROM pg_type t JOIN pg_namespace n ON n.oid = t.typnamespace
        LEFT JOIN pg_class c ON c.oid = t.typrelid
        WHERE (t.typtype IN ('e', 'd', 'r') OR (t.typtype = 'c' AND c.relkind = 'c'))
            AND n.nspname NOT IN ('pg_catalog', 'information_schema') AND n.nspname !~ '^pg_'
            AND NOT EXISTS (SELECT FROM pg_depend d
                WHERE d.classid = 'pg_type'::regclass AND d.objid = t.oid AND d.deptype = 'e')
    LOOP
        EXECUTE statement;
    END LOOP;
END
$$;
