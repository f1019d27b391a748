package conduct

import (
	"cmp"
	"context"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// exportsAtOnce is how many tables may be on their way out: each holds a connection to the database while it is.
const exportsAtOnce = 4

// ExportCatches writes all fish of a locked trial, or of a recorded one, as a catch table: pseudonyms, dates without the
// hour, no names, waters or notes. Fish that are not analysed are among them, with their reason. The further columns of
// imported tables may name anything, so that only organisers, who import them, get them back, in order of their names.
//
// It reads one snapshot and keeps one angler's outings and periods in memory, never his fish, so that a table may be of any
// length. What was written to w when it fails is no whole table.
//
// Errors: Conflict while the trial hides its effect; TooMany while too many tables are on their way.
func (s *Service) ExportCatches(ctx context.Context, actor trial.Actor, id trial.ID, w io.Writer) error {
	return s.exportTable(ctx, actor, id, exchange.NewTableWriter(w))
}

// ExportWorkbook writes the catch table as a workbook, of which nothing is written to w before all rows are there.
//
// Errors: those of ExportCatches; Invalid for more than exchange.MaxWorkbookRows fish.
func (s *Service) ExportWorkbook(ctx context.Context, actor trial.Actor, id trial.ID, w io.Writer) (err error) {
	book := exchange.NewWorkbookWriter(w)
	defer func() { err = errors.Join(err, book.Close()) }()
	return s.exportTable(ctx, actor, id, book)
}

// tableWriter is a catch table on its way out.
type tableWriter interface {
	Begin(further []string, exclusions bool) error
	Write(row exchange.Row) error
	End() error
}

func (s *Service) exportTable(ctx context.Context, actor trial.Actor, id trial.ID, out tableWriter) error {
	select {
	case s.exporting <- struct{}{}:
		defer func() { <-s.exporting }()
	default:
		return trial.Fail(trial.TooMany, "export.busy", "other tables are being downloaded; ask again in a moment")
	}
	begun := false
	err := s.store.InLongReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if begun {
			return errors.New("the snapshot that a table is read from was lost on the way")
		}
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		member, err := inClub(ctx, tx, actor, t.ClubID, trial.ExportCatches, "trial")
		if err != nil {
			return err
		}
		if err := t.OfThisServer(); err != nil {
			return err
		}
		if t.Hidden() || t.State == trial.Draft {
			return trial.Fail(trial.Conflict, "trial.hidden", "the trial is %s; its catches can be downloaded once it is locked", t.State)
		}
		p, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		var further []string
		if member.Role == trial.Organiser && t.Source == trial.Recorded {
			if further, err = tx.FurtherColumnsOf(ctx, id); err != nil {
				return err
			}
		}
		enrolments, err := tx.EnrolmentsOf(ctx, id)
		if err != nil {
			return err
		}
		slices.SortFunc(enrolments, func(a, b trial.Enrolment) int { return strings.Compare(a.Pseudonym, b.Pseudonym) })
		begun = true
		if err := out.Begin(further, true); err != nil {
			return err
		}
		for _, e := range enrolments {
			if e.ErasedAt != nil {
				continue
			}
			if err := exportAngler(ctx, tx, *p, e, out, further); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return out.End()
}

// exportAngler writes one angler's fish.
func exportAngler(ctx context.Context, tx trial.ReadTx, p trial.Protocol, e trial.Enrolment, out tableWriter, further []string) error {
	records, err := tx.FishingOf(ctx, e.TrialID, e.ID)
	if err != nil {
		return err
	}
	rows := newRowMaker(p, records)
	return tx.EachCatchOf(ctx, e.TrialID, e.ID, func(c trial.Catch) error {
		row := rows.row(c)
		if len(further) > 0 {
			values := c.Further.Values()
			row.Further = make([]string, len(further))
			for i, name := range further {
				row.Further[i] = values[name]
			}
		}
		return out.Write(row)
	})
}

// rowMaker turns one angler's fish into rows, outings numbered in their order.
type rowMaker struct {
	protocol   trial.Protocol
	pseudonym  string
	outings    map[trial.ID]trial.Outing
	number     map[trial.ID]string
	units      map[trial.ID]trial.Unit
	periods    map[trial.ID]trial.Period
	deviations []trial.Deviation
}

func newRowMaker(p trial.Protocol, r trial.Records) rowMaker {
	m := rowMaker{
		protocol: p, pseudonym: r.Enrolment.Pseudonym, deviations: r.Deviations,
		outings: map[trial.ID]trial.Outing{}, number: map[trial.ID]string{}, units: map[trial.ID]trial.Unit{}, periods: map[trial.ID]trial.Period{},
	}
	for i, o := range r.Outings {
		m.outings[o.ID], m.number[o.ID] = o, strconv.Itoa(i+1)
	}
	for _, u := range r.Units {
		m.units[u.ID] = u
	}
	for _, period := range r.Periods {
		m.periods[period.ID] = period.EndedWith(m.outings[period.OutingID])
	}
	return m
}

func (m rowMaker) row(c trial.Catch) exchange.Row {
	period := m.periods[c.PeriodID]
	outing := m.outings[period.OutingID]
	c = c.In(outing)
	arrangement := period.ArrangementAt(c.CaughtAt, m.deviations)
	taken, position := c.TakenIn(m.protocol, arrangement)
	row := exchange.Row{
		Angler: m.pseudonym, Outing: m.number[period.OutingID], Block: whole(period.Block), Period: wholeOrNil(period.Half),
		TakenPosition: position, TakenPattern: patternTaken(m.protocol, taken), CaughtAt: day(c.CaughtAt), Species: c.Species, Origin: c.Origin,
		WaterType: cmp.Or(c.WaterType, outing.WaterTypeAt(m.protocol, c.CaughtAt, m.deviations)), Fly: c.Fly,
		Outcome: c.Outcome, FoulHooked: c.FoulHooked,
		Exclusion: c.Excluded(m.protocol, period, m.units[period.UnitID], m.deviations),
	}
	if arrangement != "" {
		row.LowerPattern, _ = m.protocol.Flies(arrangement)
	}
	if c.Length != nil {
		row.Length = &exchange.Length{Value: strconv.FormatFloat(c.Length.Value, 'f', -1, 64), Unit: c.Length.Unit}
	}
	return row
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
