package exchange

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"evenrig/service/trial"
)

// shownAngler is one angler's rows as they are published.
type shownAngler struct {
	outings    []Outing
	units      []Unit
	periods    []Period
	deviations []Deviation
	fish       []Fish
	amendments []Amendment
	entries    []Entry
}

// upToLock returns the records that stood when the closing analysis was asked for: what arrived later is not part of the trial.
func (p *publisher) upToLock(a SourceAngler) trial.Records {
	r := a.Records
	r.Outings = p.coarse(r.Outings)
	cut, known := p.cut[r.Enrolment.ChainID]
	if !known || r.Enrolment.ChainID == p.Trial.ID {
		return r
	}
	later := map[trial.ID]bool{}
	for _, e := range a.Chain.Entries {
		if e.N > cut {
			switch e.Kind {
			case trial.LedgerOuting, trial.LedgerUnit, trial.LedgerPeriod, trial.LedgerDeviation, trial.LedgerCatch:
				later[e.Subject] = true
			}
		}
	}
	if len(later) == 0 {
		return r
	}
	r.Outings = keep(r.Outings, func(o trial.Outing) bool { return !later[o.ID] })
	r.Units = keep(r.Units, func(u trial.Unit) bool { return !later[u.ID] })
	r.Periods = keep(r.Periods, func(period trial.Period) bool { return !later[period.ID] })
	r.Deviations = keep(r.Deviations, func(d trial.Deviation) bool { return !later[d.ID] })
	r.Catches = keep(r.Catches, func(c trial.Catch) bool { return !later[c.ID] })
	opened := map[trial.ID]bool{}
	for _, period := range r.Periods {
		opened[period.UnitID] = true
	}
	for i, u := range r.Units {
		if !opened[u.ID] {
			r.Units[i].OpenedAt = nil
		}
	}
	return r
}

// coarse takes away cells of a grid that is not the one in force any more: one made coarser while the trial ran would not hide
// much if the finer cells of before were still shown.
func (p *publisher) coarse(outings []trial.Outing) []trial.Outing {
	outings = slices.Clone(outings)
	for i, o := range outings {
		if trial.GridOf(o.Cell) != p.Protocol.PlaceGrid {
			outings[i].Cell = ""
		}
	}
	return outings
}

// keep returns a new list of those that are wanted.
func keep[T any](list []T, wanted func(T) bool) []T {
	var kept []T
	for _, x := range list {
		if wanted(x) {
			kept = append(kept, x)
		}
	}
	return kept
}

// show derives an angler's rows.
func (p *publisher) show(a SourceAngler) shownAngler {
	r := p.upToLock(a)
	s := shower{publisher: p, Records: r, followed: r.Follow(p.Protocol), shown: &shownAngler{}, withheld: map[trial.ID][]string{}, places: map[trial.ID]trial.Base{}, weeks: map[string]bool{}}
	for _, b := range basesOf(r) {
		if p.suppression.Week(b.Week) != "" {
			s.weeks[b.Week] = true
		}
	}
	s.corrections(a.Chain)
	s.days()
	s.blocks()
	s.fishes()
	s.chain(a.Chain)
	return *s.shown
}

// shower shows one angler's records.
type shower struct {
	*publisher
	trial.Records
	followed  trial.Followed
	shown     *shownAngler
	withheld  map[trial.ID][]string   // of each record
	places    map[trial.ID]trial.Base // raw cell and week of each outing, period and fish
	weeks     map[string]bool         // that the angler may be shown in
	corrected map[trial.ID]int
}

// corrections counts the corrections of each record.
func (s *shower) corrections(c Chain) {
	s.corrected = map[trial.ID]int{}
	for _, e := range c.Entries {
		if e.Kind == trial.LedgerAmendment && s.within(e) {
			s.corrected[e.Subject]++
		}
	}
}

// within reports whether the entry belongs to what was analysed.
func (s *shower) within(e trial.LedgerEntry) bool {
	cut, known := s.cut[e.ChainID]
	return !known || e.N <= cut
}

// place says what of a record's cell and week is shown, and notes what is not.
func (s *shower) place(record trial.ID, at trial.Base) (shownCell, shownWeek string) {
	s.places[record] = at
	shownCell, shownWeek = s.suppression.Place(at.Cell, at.Week)
	if at.Cell != "" && shownCell == "" {
		s.withheld[record] = append(s.withheld[record], "cell")
	}
	if at.Week != "" && shownWeek == "" {
		s.withheld[record] = append(s.withheld[record], "week")
	}
	return shownCell, shownWeek
}

// week says whether a week that is no record's own may be shown: one in which the angler is shown to have fished.
func (s *shower) week(t *time.Time, column string, withheld *[]string) string {
	if t == nil {
		return ""
	}
	week := weekOf(*t)
	if !s.weeks[week] {
		*withheld = append(*withheld, column)
		return ""
	}
	return week
}

func (s *shower) days() {
	angler := s.Enrolment.Pseudonym
	for _, o := range s.Outings {
		row := Outing{
			Angler: angler, ID: o.ID.Public(), Version: o.ProtocolVersion, StartedLate: o.StartedLate, Temperature: o.WaterTemperature, Void: o.Void, Disputed: o.Disputed,
		}
		row.Cell, row.Week = s.place(o.ID, placeOf(s.Enrolment, o))
		if o.End != nil {
			row.End, row.NotLogged = o.End.Reason, o.End.NotLogged
		}
		row.Withheld = s.withheld[o.ID]
		s.shown.outings = append(s.shown.outings, row)
	}
	for _, d := range s.Deviations {
		row := Deviation{Angler: angler, ID: d.ID.Public(), Outing: d.OutingID.Public(), Period: d.PeriodID.Public(), Kind: d.Kind, Fly: d.Fly}
		row.Week = s.week(&d.FromAt, "week", &row.Withheld)
		s.withheld[d.ID] = row.Withheld
		s.shown.deviations = append(s.shown.deviations, row)
	}
}

func (s *shower) blocks() {
	angler := s.Enrolment.Pseudonym
	fished := map[trial.ID]*time.Time{}
	for i, period := range s.followed.Periods {
		row := Period{
			Angler: angler, ID: period.ID.Public(), Outing: period.OutingID.Public(), Unit: period.UnitID.Public(), Block: period.Block, Number: numberText(s.Periods[i].Half),
			Half: period.Half, Drawn: period.Drawn, Fished: period.Fished, Confirmed: period.Confirmed, Finished: period.Finished, TestFly: period.TestFly, ControlFly: period.ControlFly, Amendments: s.corrected[period.ID],
		}
		_, row.Week = s.place(period.ID, at(s.places[period.OutingID], weekOf(period.StartedAt)))
		if period.End != nil {
			row.End = period.End.Reason
			fished[period.UnitID] = &period.End.EndedAt
		}
		s.withheld[period.ID] = keep(s.withheld[period.ID], func(what string) bool { return what != "cell" })
		row.Withheld = s.withheld[period.ID]
		s.shown.periods = append(s.shown.periods, row)
	}
	for _, u := range s.Units {
		row := Unit{
			Angler: angler, ID: u.ID.Public(), N: u.N, First: u.First, DrawnBy: cmp.Or(u.DrawnBy, trial.ByService), Slip: u.Slip, SameFlyCheck: u.SameFlyCheck, Lost: u.LostAt != nil,
		}
		if !u.Own() {
			row.DrawN = cmp.Or(u.DrawN, u.N)
		}
		row.Fetched = s.week(&u.FetchedAt, "fetched", &row.Withheld)
		row.Opened = s.week(u.OpenedAt, "opened", &row.Withheld)
		row.Fished = s.week(fished[u.ID], "fished", &row.Withheld)
		s.shown.units = append(s.shown.units, row)
	}
}

func (s *shower) fishes() {
	outings := map[trial.ID]trial.ID{}
	for _, period := range s.Periods {
		outings[period.ID] = period.OutingID
	}
	for i, c := range s.Catches {
		t := s.followed.Catches[i]
		row := Fish{
			Angler: s.Enrolment.Pseudonym, ID: c.ID.Public(), Outing: outings[c.PeriodID].Public(), Period: c.PeriodID.Public(), TakenPattern: c.TakenPattern, TakenPosition: c.TakenPosition,
			Outcome: c.Outcome, FoulHooked: c.FoulHooked, RigIntact: c.RigIntact, Double: c.DoubleID.Public(), Origin: c.Origin, LengthCM: wholeCM(c.Length),
			Welfare: c.Welfare, Void: c.Void, AfterLock: c.AfterLock, Disputed: c.Disputed, Amendments: s.corrected[c.ID],
			Arrangement: t.Arrangement, Taken: t.Taken, Exclusion: t.Exclusion, Late: t.Late, Deviated: t.Deviated, DisputedOnly: t.DisputedOnly, WaterType: t.WaterType, Fly: t.Fly, Columns: t.Columns,
		}
		place := at(s.places[outings[c.PeriodID]], weekOf(c.CaughtAt))
		_, row.Week = s.place(c.ID, place)
		s.withheld[c.ID] = keep(s.withheld[c.ID], func(what string) bool { return what != "cell" })
		row.Species = s.species(place, c.Species)
		if row.Species != c.Species {
			s.withheld[c.ID] = append(s.withheld[c.ID], "species")
		}
		row.Withheld = s.withheld[c.ID]
		s.shown.fish = append(s.shown.fish, row)
	}
}

// species is the species where it may be shown. Where neither place nor week is known nothing hangs on it.
func (p *publisher) species(place trial.Base, species string) string {
	if place.Week == "" {
		return species
	}
	return p.suppression.Species(place.Cell, place.Week, species)
}

// chain shows the angler's entries, and the corrections among them.
func (s *shower) chain(c Chain) {
	if s.Enrolment.ChainID == s.Trial.ID {
		return
	}
	for _, e := range c.Entries {
		if !s.within(e) {
			return
		}
		row := entryOf(s.Enrolment.Pseudonym, e)
		parts, kept := c.Parts[e.N]
		if kept && s.mayShow(e, parts.Public) {
			row.Salt, row.Public = parts.PublicSalt, string(parts.Public)
		}
		s.shown.entries = append(s.shown.entries, row)
		if e.Kind == trial.LedgerAmendment && kept {
			s.shown.amendments = append(s.shown.amendments, s.amendment(e, parts.Public, row.Public != ""))
		}
	}
}

func entryOf(angler string, e trial.LedgerEntry) Entry {
	return Entry{
		Angler: angler, Chain: e.ChainID.Public(), N: e.N, Kind: e.Kind, Subject: e.Subject.Public(),
		PublicDigest: e.PublicDigest, PrivateDigest: e.PrivateDigest, Hash: e.Hash,
	}
}

// publicPart is what of an entry's public part decides whether it may be shown.
type publicPart struct {
	Week    string          `json:"week"`
	Cell    string          `json:"cell"`
	Species string          `json:"species"`
	Reason  string          `json:"reason"`
	By      string          `json:"by"`
	Kind    string          `json:"kind"`
	N       int             `json:"n"`
	Old     json.RawMessage `json:"old"`
	New     json.RawMessage `json:"new"`
}

// mayShow reports whether an entry's public part tells nothing that the tables hide. Parts of enrolments and withdrawals tell when
// somebody came or left and are never shown, nor is what this program does not know.
func (s *shower) mayShow(e trial.LedgerEntry, public []byte) bool {
	var part publicPart
	if json.Unmarshal(public, &part) != nil {
		return false
	}
	at := s.places[e.Subject]
	switch e.Kind {
	case trial.LedgerOuting, trial.LedgerPeriod, trial.LedgerDeviation, trial.LedgerCatch:
		return len(s.withheld[e.Subject]) == 0 && s.shows(at, part)
	case trial.LedgerAmendment:
		var before, after publicPart
		return json.Unmarshal(part.Old, &before) == nil && json.Unmarshal(part.New, &after) == nil &&
			len(s.withheld[e.Subject]) == 0 && s.shows(at, before) && s.shows(at, after) && !s.Protocol.Names(part.Reason, s.People)
	case trial.LedgerDispute, trial.LedgerDecision: // others' doing, in a week of theirs
		return len(s.withheld[e.Subject]) == 0
	case trial.LedgerOutingEnd, trial.LedgerPeriodEnd, trial.LedgerUnit, trial.LedgerUnitLost, trial.LedgerTemperature:
		return s.shows(at, part)
	}
	return false
}

// shows reports whether place, time and species of a public part may be shown of a record at the given place.
func (s *shower) shows(at trial.Base, part publicPart) bool {
	return (part.Week == "" || s.weeks[part.Week]) && (part.Cell == "" || part.Cell == at.Cell) &&
		(part.Species == "" || s.species(at, part.Species) != "")
}

// amendment is a correction as it is published; shown says whether its entry's part is.
func (s *shower) amendment(e trial.LedgerEntry, public []byte, shown bool) Amendment {
	var part publicPart
	_ = json.Unmarshal(public, &part) // what cannot be read was not shown
	row := Amendment{
		Angler: s.Enrolment.Pseudonym, Subject: e.Subject.Public(), Kind: part.Kind, N: part.N, By: cmp.Or(part.By, string(trial.Angler)),
		Reason: s.text(part.Reason), Old: string(part.Old), New: string(part.New),
	}
	if !shown {
		row.Old, row.New, row.Withheld = "", "", []string{"old", "new"}
		if row.Reason != part.Reason {
			row.Withheld = append(row.Withheld, "reason")
		}
	}
	return row
}

// wholeCM is a length in whole centimetres, rounded down; nil for none.
func wholeCM(m *trial.Measure) *int {
	if m == nil {
		return nil
	}
	mm, err := m.Millimetres()
	if err != nil {
		return nil
	}
	cm := mm / 10
	return &cm
}

// weekOf is a time's week, empty for no time.
func weekOf(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return trial.WeekOf(t)
}

func weekOrNone(t *time.Time) string {
	if t == nil {
		return ""
	}
	return weekOf(*t)
}

// label is what tallies call an outing.
func label(id trial.ID) string { return idText(id.Public()) }

func numberText(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprint(n)
}
