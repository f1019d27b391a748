-- Spreads the tables that belong to trials over hash partitions of the trial, with all that they hold, in one transaction.
-- scale.md, "Spreading by trial", says when that is worth it. With the service stopped, as the schema's owner:
--
--   PGOPTIONS='-c evenrig.partitions=16' psql --single-transaction -v ON_ERROR_STOP=1 -f partition.sql DATABASE
--
-- The program runs on the result as it is, and so do its later steps. Run it again, with the same number, after an upgrade that
-- adds tables or indexes: what is spread already stays as it is, new tables are spread, new indexes get their names.
--
-- Partition i of every table lies in the schema part_i under the table's own name, and so do its indexes and constraints: the
-- server names the partition's constraint when one is broken, and the program tells by that name what was wrong.

DO $spread$
DECLARE
    partitions integer := current_setting('evenrig.partitions');
    -- Accounts, clubs and what lets people in are few, and belong to no trial.
    spread oid[] := ARRAY(SELECT oid FROM pg_class c
                          WHERE relnamespace = 'public'::regnamespace AND relkind = 'r'
                            AND (relname = 'trials' OR EXISTS (SELECT FROM pg_attribute WHERE attrelid = c.oid AND attname = 'trial_id')));
    -- What is made again once the rows are in: indexes before the keys that need them, each table's in the order they were made in.
    later text[] := ARRAY(SELECT CASE WHEN k.oid IS NULL THEN pg_get_indexdef(i.indexrelid)
                                 ELSE format('ALTER TABLE public.%I ADD CONSTRAINT %I %s', c.relname, k.conname, pg_get_constraintdef(k.oid)) END
                          FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid
                          LEFT JOIN pg_constraint k ON k.conindid = i.indexrelid AND k.contype IN ('p', 'u')
                          WHERE c.oid = ANY (spread) ORDER BY c.relname, i.indexrelid)
               || ARRAY(SELECT format('ALTER TABLE %s ADD CONSTRAINT %I %s', conrelid::regclass, conname, pg_get_constraintdef(oid))
                        FROM pg_constraint
                        WHERE contype = 'f' AND conparentid = 0 AND (conrelid = ANY (spread) OR confrelid = ANY (spread)) ORDER BY conrelid::regclass::text, conname);
    statement text;
    t record;
BEGIN
    IF partitions NOT BETWEEN 2 AND 1024 THEN
        RAISE 'evenrig.partitions is %; accepted: 2 to 1024', partitions;
    END IF;
    FOR i IN 0 .. partitions - 1 LOOP
        EXECUTE format('CREATE SCHEMA IF NOT EXISTS part_%s', i);
    END LOOP;
    IF to_regnamespace('part_' || partitions) IS NOT NULL THEN
        RAISE 'the tables are spread over more than % partitions already; give the same number as before', partitions;
    END IF;

    CREATE SCHEMA unspread;
    -- Keys between the tables stand in the way of moving them.
    FOR t IN SELECT conrelid::regclass AS relation, conname FROM pg_constraint
             WHERE contype = 'f' AND conparentid = 0 AND (conrelid = ANY (spread) OR confrelid = ANY (spread)) LOOP
        EXECUTE format('ALTER TABLE %s DROP CONSTRAINT %I', t.relation, t.conname);
    END LOOP;
    FOR t IN SELECT relname, reloptions, relacl, relowner FROM pg_class WHERE oid = ANY (spread) ORDER BY relname LOOP
        EXECUTE format('ALTER TABLE public.%I SET SCHEMA unspread', t.relname);
        EXECUTE format('CREATE TABLE public.%1$I (LIKE unspread.%1$I INCLUDING ALL EXCLUDING INDEXES) PARTITION BY HASH (%2$I)',
                       t.relname, CASE t.relname WHEN 'trials' THEN 'id' ELSE 'trial_id' END);
        FOR i IN 0 .. partitions - 1 LOOP
            EXECUTE format('CREATE TABLE part_%1$s.%2$I PARTITION OF public.%2$I FOR VALUES WITH (MODULUS %3$s, REMAINDER %1$s) %4$s',
                           i, t.relname, partitions, 'WITH (' || array_to_string(t.reloptions, ', ') || ')');
        END LOOP;
        FOR statement IN
            SELECT format('GRANT %s ON public.%I TO %s', privilege_type, t.relname, CASE grantee WHEN 0 THEN 'PUBLIC' ELSE grantee::regrole::text END)
            FROM aclexplode(t.relacl)
        LOOP
            EXECUTE statement;
        END LOOP;
        EXECUTE format('INSERT INTO public.%1$I SELECT * FROM unspread.%1$I', t.relname);
        EXECUTE format('DROP TABLE unspread.%I', t.relname);
    END LOOP;
    FOREACH statement IN ARRAY later LOOP
        EXECUTE statement;
    END LOOP;
    DROP SCHEMA unspread;

    -- Each partition's index gets the name of the one that it is part of.
    FOR t IN
        SELECT part.oid::regclass AS index, whole.relname AS name
        FROM pg_inherits JOIN pg_class part ON part.oid = inhrelid JOIN pg_class whole ON whole.oid = inhparent
        WHERE whole.relnamespace = 'public'::regnamespace AND part.relkind = 'i' AND part.relname <> whole.relname
    LOOP
        EXECUTE format('ALTER INDEX %s RENAME TO %I', t.index, t.name);
    END LOOP;
END
$spread$;
