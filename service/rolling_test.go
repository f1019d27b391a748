package main

import (
	"context"
	"io"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/db/dbtest"
)

// aStepFurther is what a later program's step may do: a new table, and a new column in every table there is.
const aStepFurther = `
CREATE TABLE later (trial_id uuid NOT NULL, note text, CONSTRAINT later_pkey PRIMARY KEY (trial_id));
DO $$
DECLARE name text;
BEGIN
    FOR name IN SELECT tablename FROM pg_tables WHERE schemaname = 'public' AND tablename NOT IN ('schema_migrations', 'later') LOOP
        EXECUTE format('ALTER TABLE public.%I ADD COLUMN later text', name);
    END LOOP;
END $$;
UPDATE schema_migrations SET version = version + 1;`

// TestOnASchemaAStepFurther: a later program brings the schema a step further while this one runs; this one runs on, brings a trial to
// its published package, and starts again.
func TestOnASchemaAStepFurther(t *testing.T) {
	t.Parallel()
	clock := &storyClock{}
	clock.set(demoStart)
	url := dbtest.URL(t)
	p, urls := startTogether(t, clock, storage{DatabaseURL: url}, 1)
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	s := newStory(urls[0], clock, io.Discard)
	step := func(ctx context.Context) error {
		config, err := pgxpool.ParseConfig(url)
		if err != nil {
			return err
		}
		conn, err := pgx.ConnectConfig(ctx, config.ConnConfig)
		if err != nil {
			return err
		}
		defer conn.Close(ctx) //nolint:errcheck // its database is dropped next
		_, err = conn.Exec(ctx, aStepFurther)
		return err
	}
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return s.found(ctx, secret) }, s.writeRules, s.join,
		func(context.Context) error { s.anglers = s.anglers[:3]; return nil }, // as many as a package shows
		step, s.season, s.lock, func(ctx context.Context) error { _, err := s.read(ctx); return err }, s.publish,
	} {
		if err := part(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	again, _ := startTogether(t, clock, storage{DatabaseURL: url}, 1)
	if err := again.service.Ready(t.Context()); err != nil {
		t.Errorf("on a schema a step further the service is not ready: %v", err)
	}
	if checked, err := again.service.Check(t.Context()); err != nil || len(checked.Faults) > 0 {
		t.Errorf("check: %+v, %v", checked, err)
	}
}
