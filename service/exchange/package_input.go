package exchange

import (
	"slices"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// Input returns what the package's rows are to an analysis: with nobody's rows left out, what its result was computed from. The plan is
// read strictly; an error says what of the package cannot be read.
func (p Package) Input() (analysis.Input, error) {
	plan, err := p.readPlan()
	if err != nil {
		return analysis.Input{}, err
	}
	in := analysis.InputOf(plan)
	for a, err := range p.byAngler() {
		if err != nil {
			return analysis.Input{}, err
		}
		a.addTo(&in, plan, p)
	}
	if plan.Source == trial.Drawn {
		in.Plan = p.lookPlan(plan)
	}
	in.Effort, err = p.flowWith(in.Effort)
	return in, err
}

// lookPlan is what protocol and looks say of the closing analysis.
func (p Package) lookPlan(plan trial.Protocol) *analysis.Plan {
	looks := &analysis.Plan{Rule: plan.Stopping, Looks: plan.Looks, Power: plan.Power, Closing: true}
	for _, l := range p.Looks {
		looks.Earlier = append(looks.Earlier, analysis.EarlierLook{N: l.N, Fish: l.Fish, Week: l.Week, Decision: l.Decision, Withdrawn: l.Withdrawn, Information: l.Information, LogOdds: l.LogOdds, P: l.P})
	}
	return looks
}

// publishedAngler is everything of one angler in a package.
type publishedAngler struct {
	Angler
	outings    []Outing
	units      []Unit
	periods    []Period
	deviations []Deviation
	fish       []Fish
	amendments []Amendment
	entries    []Entry
}

// byAngler reads the long tables side by side, one angler at a time, the ledger's organiser's chain aside. It ends with an error where
// a table has rows of an angler that the table of anglers does not have, or rows out of order.
func (p Package) byAngler() Rows[publishedAngler] {
	return func(yield func(publishedAngler, error) bool) {
		for i, a := range p.Anglers {
			if i > 0 && a.Pseudonym <= p.Anglers[i-1].Pseudonym {
				yield(publishedAngler{}, packageFault("anglers.csv", "has %q after %q; accepted: in order of pseudonym, each once", a.Pseudonym, p.Anglers[i-1].Pseudonym))
				return
			}
		}
		outings := newGroups(inOrder("outings", p.Outings, func(r Outing) string { return r.Angler }), func(r Outing) string { return r.Angler })
		defer outings.stop()
		units := newGroups(inOrder("units", p.Units, func(r Unit) string { return r.Angler }), func(r Unit) string { return r.Angler })
		defer units.stop()
		periods := newGroups(inOrder("periods", p.Periods, func(r Period) string { return r.Angler }), func(r Period) string { return r.Angler })
		defer periods.stop()
		deviations := newGroups(inOrder("deviations", p.Deviations, func(r Deviation) string { return r.Angler }), func(r Deviation) string { return r.Angler })
		defer deviations.stop()
		fish := newGroups(inOrder("catches", p.Catches, func(r Fish) string { return r.Angler }), func(r Fish) string { return r.Angler })
		defer fish.stop()
		amendments := newGroups(inOrder("amendments", p.Amendments, func(r Amendment) string { return r.Angler }), func(r Amendment) string { return r.Angler })
		defer amendments.stop()
		entries := newGroups(inOrder("ledger", p.Ledger, func(r Entry) string { return r.Angler }), func(r Entry) string { return r.Angler })
		defer entries.stop()
		for _, a := range p.Anglers {
			all := publishedAngler{Angler: a}
			var errs [7]error
			all.outings, errs[0] = outings.of(a.Pseudonym)
			all.units, errs[1] = units.of(a.Pseudonym)
			all.periods, errs[2] = periods.of(a.Pseudonym)
			all.deviations, errs[3] = deviations.of(a.Pseudonym)
			all.fish, errs[4] = fish.of(a.Pseudonym)
			all.amendments, errs[5] = amendments.of(a.Pseudonym)
			all.entries, errs[6] = entries.of(a.Pseudonym)
			if i := slices.IndexFunc(errs[:], func(err error) bool { return err != nil }); i >= 0 {
				yield(publishedAngler{}, errs[i])
				return
			}
			if !yield(all, nil) {
				return
			}
		}
		for _, rest := range []func() error{outings.end, units.end, periods.end, deviations.end, fish.end, amendments.end, entries.end} {
			if err := rest(); err != nil {
				yield(publishedAngler{}, err)
				return
			}
		}
	}
}

// inOrder fails where a table's rows are not in order of pseudonym.
func inOrder[T any](table string, rows Rows[T], angler func(T) string) Rows[T] {
	return func(yield func(T, error) bool) {
		last := ""
		if rows == nil {
			return
		}
		for row, err := range rows {
			if err == nil && angler(row) < last {
				var none T
				yield(none, packageFault(table+".csv", "has a row of %q after one of %q; accepted: in order of pseudonym", angler(row), last))
				return
			}
			last = angler(row)
			if !yield(row, err) {
				return
			}
		}
	}
}

// addTo adds the angler's rows to what is analysed.
func (a publishedAngler) addTo(in *analysis.Input, plan trial.Protocol, p Package) {
	in.Tallies = append(in.Tallies, a.tallies()...)
	effort := a.effort(plan)
	in.Effort = in.Effort.Add(effort)
	if effort.NotLogged > 0 {
		in.NotLogged = append(in.NotLogged, analysis.AnglerCount{Angler: a.Pseudonym, N: effort.NotLogged})
	}
	if a.Left {
		in.Left = append(in.Left, a.Pseudonym)
	}
	if plan.Source == trial.Drawn && len(a.units) > 0 {
		in.Draw = append(in.Draw, plan.Draw.Drawn(p.allocationKey(a.Angler), a.Pseudonym, a.unitRecords())...)
	}
}

// allocationKey is the angler's of trial.AllocationKey.
func (p Package) allocationKey(a Angler) [32]byte {
	words := make([]string, len(p.Words))
	for i, w := range p.Words {
		words[i] = w.Word
	}
	return trial.AllocationKey(p.Facts.Seed, words, a.Enrolment, a.Code)
}

// tallies counts the angler's fish as trial.Records.Count does.
func (a publishedAngler) tallies() []trial.Tally {
	periods := make(map[trial.ID]Period, len(a.periods))
	for _, period := range a.periods {
		periods[period.ID] = period
	}
	outings := make(map[trial.ID]Outing, len(a.outings))
	for _, o := range a.outings {
		outings[o.ID] = o
	}
	counts := map[trial.Tally]int64{}
	for _, c := range a.fish {
		period := periods[c.Period]
		counts[trial.Tally{
			Angler: a.Pseudonym, Outing: idText(c.Outing), Block: period.Block, Period: period.Number, Arrangement: c.Arrangement, Taken: c.Taken, Species: c.Species,
			Origin: c.Origin, Month: monthOf(c.Week), Week: c.Week, Exclusion: c.Exclusion, Half: period.Half, Drawn: period.Drawn, Finished: period.Finished,
			OpenedLate: outings[c.Outing].StartedLate, Late: c.Late, Deviated: c.Deviated, DisputedOnly: c.DisputedOnly, WaterType: c.WaterType, Fly: c.Fly, Columns: c.Columns, Welfare: c.Welfare,
		}]++
	}
	return trial.SumTallies(counts)
}

// monthOf is the month to which a week belongs, see trial.MonthOf.
func monthOf(week string) string {
	thursday, ok := trial.WeekDay(week, 4)
	if !ok {
		return ""
	}
	return trial.MonthOf(thursday)
}

// effort counts everything but fish, by the rules by which the service counts it: the rows stand in for records whose times say nothing.
func (a publishedAngler) effort(plan trial.Protocol) trial.Effort {
	account := trial.ID{1} // stands in for the angler's, by which nothing was typed otherwise
	r := trial.Records{Enrolment: trial.Enrolment{AccountID: account, Pseudonym: a.Pseudonym}, Units: a.unitRecords()}
	for _, o := range a.outings {
		outing := trial.Outing{ID: o.ID, StartedLate: o.StartedLate, Void: o.Void, Disputed: o.Disputed}
		if o.End != "" {
			outing.End = &trial.OutingEnd{Reason: o.End, NotLogged: o.NotLogged}
		}
		r.Outings = append(r.Outings, outing)
	}
	for _, row := range a.periods {
		period := trial.Period{ID: row.ID, OutingID: row.Outing, UnitID: row.Unit, Block: row.Block, Half: row.Half, Drawn: row.Drawn, Fished: row.Fished, Confirmed: row.Confirmed}
		if row.End != "" {
			period.End = &trial.PeriodEnd{Reason: row.End}
		}
		r.Periods = append(r.Periods, period)
	}
	for _, d := range a.deviations {
		r.Deviations = append(r.Deviations, trial.Deviation{ID: d.ID, OutingID: d.Outing, PeriodID: d.Period, Kind: d.Kind})
	}
	late := int64(0)
	for _, c := range a.fish {
		r.Catches = append(r.Catches, trial.Catch{ID: c.ID, PeriodID: c.Period, Outcome: c.Outcome, Void: c.Void, NotedBy: account})
		if c.Late {
			late++
		}
	}
	_, effort := r.Count(plan)
	effort.LateNoted = late
	return effort
}

// unitRecords are the angler's units as far as the draw asks for them.
func (a publishedAngler) unitRecords() []trial.Unit {
	opened := map[trial.ID]bool{}
	for _, period := range a.periods {
		opened[period.Unit] = true
	}
	units := make([]trial.Unit, len(a.units))
	for i, u := range a.units {
		units[i] = trial.Unit{ID: u.ID, N: u.N, First: u.First, SameFlyCheck: u.SameFlyCheck, DrawnBy: u.DrawnBy, DrawN: u.DrawN, Slip: u.Slip}
		if u.Lost {
			units[i].LostAt = &packageTime
		}
		if opened[u.ID] {
			units[i].OpenedAt = &packageTime
		}
	}
	return units
}
