package main

import (
	"context"
	"log/slog"
	"time"

	"evenrig/db"
)

// forgottenAfter is how long sessions and links that ended stay, for who asks what happened.
const forgottenAfter = 30 * 24 * time.Hour

// work is what the program's jobs do.
func (p *parts) work(log *slog.Logger) db.Work {
	plain := func(do func(context.Context) error) func(context.Context) (int64, error) {
		return func(ctx context.Context) (int64, error) { return 0, do(ctx) }
	}
	return db.Work{
		Analyse: p.metrics.analysis(p.service.Analyse), Publish: p.service.MakePackage,
		EachMinute: []db.Task{{Name: "checkpoints", Do: plain(p.service.Checkpoint)}, {Name: "looks", Do: plain(p.service.LookWhenDue)}},
		EachDay: []db.Task{
			{Name: "check", Do: func(ctx context.Context) (int64, error) { return p.checkRecords(ctx, log) }},
			{Name: "clean_up", Do: plain(func(ctx context.Context) error { return p.store.CleanUp(ctx, p.service.Now().Add(-forgottenAfter)) })},
		},
	}
}

// checkRecords follows every ledger chain and recounts every count, and returns the number of faults, which the log lists.
func (p *parts) checkRecords(ctx context.Context, log *slog.Logger) (int64, error) {
	found, err := p.service.Check(ctx)
	if err != nil {
		return 0, err
	}
	for _, fault := range found.Faults {
		log.Error("the records do not agree with themselves", "fault", fault)
	}
	log.Info("records checked", "trials", found.Trials, "chains", found.Chains, "entries", found.Entries, "faults", len(found.Faults))
	return int64(len(found.Faults)), nil
}
