package conduct

import (
	"context"
	"fmt"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// about is what a report of the analysis says beside its numbers. It names nobody and no water.
func (s *Service) about(ctx context.Context, tx trial.ReadTx, t trial.Trial, a trial.Analysis) (report.About, error) {
	var about report.About
	p, err := s.rulesOf(ctx, tx, t)
	if err != nil {
		return about, err
	}
	club, err := tx.ClubBy(ctx, t.ClubID)
	if err != nil {
		return about, err
	}
	checkpoints, err := tx.CheckpointsOf(ctx, t.ID)
	if err != nil {
		return about, err
	}
	input, err := analysis.ReadInput(*p, a.Input)
	if err != nil {
		return about, fmt.Errorf("input of analysis %d of trial %s: %w", a.N, t.ID, err)
	}
	about = report.About{
		Title: p.Title, Club: club.Name, Protocol: p, ProtocolVersion: a.ProtocolVersion, ProtocolFingerprint: t.Fingerprint.String(),
		Effort: &input.Effort, Funding: p.Funding, Conflicts: p.Conflicts,
		Links: []report.Link{
			{Text: "result as JSON", Href: fmt.Sprintf("/v1/trials/%s/analyses/%d", t.ID, a.N)},
			{Text: "fish as a catch table", Href: fmt.Sprintf("/v1/trials/%s/catches.csv", t.ID)},
			{Text: "as a workbook", Href: fmt.Sprintf("/v1/trials/%s/catches.xlsx", t.ID)},
		},
	}
	if t.Source == trial.Drawn {
		about.Draw.Commitment = t.Commitment.String()
		if t.Seed != nil {
			about.Draw.Seed = t.Seed.String()
		}
	}
	for _, c := range checkpoints {
		if int64(c.N) == a.Checkpoint {
			about.Checkpoint = c.Hash.String()
		}
	}
	if err := asked(ctx, tx, t.ID, &about); err != nil {
		return about, err
	}
	for _, d := range []struct {
		what string
		at   *time.Time
	}{{"registered", t.RegisteredAt}, {"closed", t.ClosedAt}, {"locked", t.LockedAt}, {"counted", a.FinishedAt}} {
		if d.at != nil {
			about.Dates = append(about.Dates, report.Dated{What: d.what, At: *d.at})
		}
	}
	if err := aboutRecords(ctx, tx, t, input, &about); err != nil {
		return about, err
	}
	if t.IsCopy() {
		return about, aboutCopy(ctx, tx, t, &about)
	}
	return about, nil
}

// aboutCopy is what a report says of a trial that was read from a package: whose it is, and that its dates are weeks.
func aboutCopy(ctx context.Context, tx trial.ReadTx, t trial.Trial, about *report.About) error {
	origin, err := tx.OriginOf(ctx, t.ID)
	if err != nil {
		return err
	}
	about.Club, about.Dates = origin.Club, nil
	about.Links = about.Links[:1] // there is no catch table here
	return nil
}
