package conduct

import (
	"context"
	"fmt"
	"math"

	"evenrig/service/analysis"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// aboutRecords is what a report says of how a trial was kept, from its own records: rule changes, disputes, the draw as it was handed out, how
// long each half was fished, fishing on in warm water, and results that were taken back. It names nobody.
func aboutRecords(ctx context.Context, tx trial.ReadTx, t trial.Trial, counted analysis.Input, about *report.About) error {
	versions, err := versionsOf(ctx, tx, t.ID)
	if err != nil {
		return err
	}
	for _, v := range versions[min(1, len(versions)):] {
		change := report.RuleChange{Version: v.Version, At: v.At, Reason: v.Reason}
		for _, c := range v.Changes {
			change.Fields = append(change.Fields, c.Field)
		}
		about.RuleChanges = append(about.RuleChanges, change)
	}
	overrides, err := tx.WelfareOverridesOf(ctx, t.ID)
	if err != nil {
		return err
	}
	for _, o := range overrides {
		about.Overrides = append(about.Overrides, report.Override{At: o.At, Reason: o.Reason})
	}
	disputes, err := tx.DisputesOf(ctx, t.ID)
	if err != nil {
		return err
	}
	for _, d := range disputes {
		said := report.Dispute{What: map[string]string{trial.LedgerCatch: "a fish", trial.LedgerOuting: "an outing"}[d.Kind], Outcome: d.Outcome()}
		for _, made := range d.Decisions {
			said.Reasons = append(said.Reasons, made.Reason)
		}
		about.Disputes = append(about.Disputes, said)
	}
	analyses, err := tx.AnalysesOf(ctx, t.ID)
	if err != nil {
		return err
	}
	for _, a := range analyses {
		if a.State == trial.Withdrawn && a.WithdrawnAt != nil {
			about.Withdrawn = append(about.Withdrawn, report.WithdrawnAnalysis{N: a.N, At: *a.WithdrawnAt, Why: "an angler whom it counted had their records erased"})
		}
	}
	if t.State == trial.Published {
		guesses, err := tx.GuessesOf(ctx, t.ID)
		if err != nil {
			return err
		}
		for _, g := range guesses {
			about.Guesses = append(about.Guesses, g.Share)
		}
	}
	editions, err := tx.PublicationsOf(ctx, t.ID)
	if err != nil {
		return err
	}
	for _, e := range editions {
		if e.State == trial.EditionStanding {
			about.Remarks = e.Remarks
		}
	}
	if t.Source != trial.Drawn {
		return nil
	}
	if err := aboutDraw(ctx, tx, t, counted.Effort, &about.Draw); err != nil {
		return err
	}
	about.Helpers = report.Helpers{Guests: counted.Effort.Guests, TypedByOthers: counted.Effort.TypedFish, PaperCards: counted.Effort.Cards}
	in, err := tx.CardsInOf(ctx, t.ID)
	if err != nil {
		return err
	}
	if in != nil {
		about.Helpers.CardsIn = in.Reason
	}
	if about.Flies, err = aboutFlies(ctx, tx, t.ID); err != nil {
		return err
	}
	about.Halves, err = halvesOf(ctx, tx, t, counted.Tallies)
	return err
}

// aboutDraw counts the draw's units by what drew them.
func aboutDraw(ctx context.Context, tx trial.ReadTx, t trial.Trial, e trial.Effort, d *report.Draw) (err error) {
	if d.Words, err = tx.WordsOf(ctx, t.ID); err != nil {
		return err
	}
	d.UnitsByCoin, d.UnitsByPaper, d.UnitsLost = e.PhoneBlocks+e.CoinBlocks, e.SlipBlocks, e.LostUnits
	d.Units = max(0, e.Blocks-d.UnitsByCoin-d.UnitsByPaper)
	sheets, err := tx.SlipSheetsOf(ctx, t.ID)
	if err != nil || len(sheets) == 0 {
		return err
	}
	printers := map[trial.ID]bool{}
	slips := int64(0)
	for _, s := range sheets {
		printers[s.PrintedBy] = true
		slips += int64(s.Last - s.First + 1)
	}
	d.Slips = fmt.Sprintf("%s printed by %s", report.Counted(slips, "slip was", "slips were"), report.Counted(int64(len(printers)), "member", "members"))
	return nil
}

// halvesOf lists every half that was fished and ended, with the landed fish of it that were counted, in the order of the records.
func halvesOf(ctx context.Context, tx trial.ReadTx, t trial.Trial, tallies []trial.Tally) ([]report.Half, error) {
	type place struct {
		angler, block string
		half          int
	}
	fish := map[place]int64{}
	for _, tally := range tallies {
		switch tally.Exclusion {
		case trial.Void, trial.ExcludeLost, trial.ExcludeTouched:
		default:
			fish[place{tally.Angler, tally.Block, tally.Half}] += tally.N
		}
	}
	enrolments, err := tx.EnrolmentsOf(ctx, t.ID)
	if err != nil {
		return nil, err
	}
	var halves []report.Half
	for _, e := range enrolments {
		if e.ErasedAt != nil {
			continue
		}
		records, err := tx.FishingOf(ctx, t.ID, e.ID)
		if err != nil {
			return nil, err
		}
		outings := map[trial.ID]trial.Outing{}
		for _, o := range records.Outings {
			outings[o.ID] = o
		}
		for _, p := range records.Periods {
			p = p.EndedWith(outings[p.OutingID])
			if p.End == nil || p.UnitID.IsZero() || !p.End.EndedAt.After(p.StartedAt) {
				continue
			}
			halves = append(halves, report.Half{
				Angler: e.Pseudonym, Week: trial.WeekOf(p.StartedAt), Minutes: math.Round(p.End.EndedAt.Sub(p.StartedAt).Minutes()),
				Fish: int(fish[place{e.Pseudonym, p.Block, p.Half}]), Ended: p.End.Reason, ByRule: p.End.Reason == trial.EndedByRule,
			})
		}
	}
	return halves, nil
}

// addLineup hides the trial's own figure among figures of nothing. It shuffles what was counted, so it is called when the snapshot is
// closed.
func addLineup(about *report.About, a trial.Analysis) error {
	if about.Protocol == nil {
		return nil
	}
	in, err := analysis.ReadInput(*about.Protocol, a.Input)
	if err != nil {
		return fmt.Errorf("line-up of analysis %d of trial %s: %w", a.N, a.TrialID, err)
	}
	about.Lineup, err = analysis.NewLineup(in, a.Fingerprint.String())
	return err
}
