package conduct

import (
	"cmp"
	"context"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// ExportCatches writes all fish of a locked trial, or of a recorded one, as a catch table: pseudonyms, dates without the
// hour, no names, waters or notes. Fish that are not analysed are among them, with their reason. The further columns of
// imported tables may name anything, so that only organisers, who import them, get them back, in order of their names.
// Nothing is written when it fails on the way to w.
func (s *Service) ExportCatches(ctx context.Context, actor trial.Actor, id trial.ID, w io.Writer) error {
	var table exchange.Table
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		member, err := inClub(ctx, tx, actor, t.ClubID, trial.ExportCatches, "trial")
		if err != nil {
			return err
		}
		if t.Hidden() || t.State == trial.Draft {
			return trial.Fail(trial.Conflict, "trial.hidden", "the trial is %s; its catches can be downloaded once it is locked", t.State)
		}
		p, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		table = exchange.Table{Test: p.Code(trial.Test), Control: p.Code(trial.Control)}
		enrolments, err := tx.EnrolmentsOf(ctx, id)
		if err != nil {
			return err
		}
		slices.SortFunc(enrolments, func(a, b trial.Enrolment) int { return strings.Compare(a.Pseudonym, b.Pseudonym) })
		var further []map[string]string // of each row
		for _, e := range enrolments {
			if e.ErasedAt != nil {
				continue
			}
			records, err := tx.RecordsOf(ctx, id, e.ID)
			if err != nil {
				return err
			}
			table.Rows = append(table.Rows, tableRows(*p, records)...)
			for _, c := range records.Catches {
				further = append(further, c.Further.Values())
			}
		}
		if member.Role == trial.Organiser {
			addFurther(&table, further)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return exchange.WriteCatchTable(w, table)
}

// addFurther adds the further columns that any row has.
func addFurther(t *exchange.Table, values []map[string]string) {
	names := map[string]bool{}
	for _, row := range values {
		for name := range row {
			names[name] = true
		}
	}
	t.Further = slices.Sorted(maps.Keys(names))
	for i := range t.Rows {
		t.Rows[i].Further = make([]string, len(t.Further))
		for j, name := range t.Further {
			t.Rows[i].Further[j] = values[i][name]
		}
	}
}

// tableRows writes one angler's fish as rows, outings numbered in their order.
func tableRows(p trial.Protocol, r trial.Records) []exchange.Row {
	outings := map[trial.ID]trial.Outing{}
	number := map[trial.ID]string{}
	for i, o := range r.Outings {
		outings[o.ID], number[o.ID] = o, strconv.Itoa(i+1)
	}
	units := map[trial.ID]trial.Unit{}
	for _, u := range r.Units {
		units[u.ID] = u
	}
	periods := map[trial.ID]trial.Period{}
	for _, period := range r.Periods {
		periods[period.ID] = period.EndedWith(outings[period.OutingID])
	}
	rows := make([]exchange.Row, 0, len(r.Catches))
	for _, c := range r.Catches {
		period := periods[c.PeriodID]
		arrangement := period.ArrangementAt(c.CaughtAt, r.Deviations)
		taken, position := c.TakenIn(p, arrangement)
		row := exchange.Row{
			Angler: r.Enrolment.Pseudonym, Outing: number[period.OutingID], Block: whole(period.Block), Period: wholeOrNil(period.Half),
			TakenPosition: position, TakenPattern: patternTaken(p, taken), CaughtAt: day(c.CaughtAt), Species: c.Species, Origin: c.Origin,
			WaterType: cmp.Or(c.WaterType, outings[period.OutingID].WaterTypeAt(p, c.CaughtAt, r.Deviations)), Fly: c.Fly,
			Outcome: c.Outcome, FoulHooked: c.FoulHooked,
			Exclusion: c.Excluded(p, period, units[period.UnitID], r.Deviations),
		}
		if arrangement != "" {
			row.LowerPattern, _ = p.Flies(arrangement)
		}
		if c.Length != nil {
			row.Length = &exchange.Length{Value: strconv.FormatFloat(c.Length.Value, 'f', -1, 64), Unit: c.Length.Unit}
		}
		rows = append(rows, row)
	}
	return rows
}

func patternTaken(p trial.Protocol, t trial.Taken) string {
	if t == trial.TookTest || t == trial.TookControl {
		return p.Code(trial.Part(t))
	}
	return string(t)
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}

func whole(text string) *int {
	n, err := strconv.Atoi(text)
	if err != nil {
		return nil
	}
	return &n
}

func wholeOrNil(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}
