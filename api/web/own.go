package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// ownRoutes are an angler's own records in a trial, their corrections, and leaving it.
func (s *Site) ownRoutes() []Route {
	return append(s.correctionRoutes(), []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/own", Signed: true, Handle: s.own},
		{Method: http.MethodPost, Path: "/trials/:trial/own/consent", Signed: true, Handle: s.changeConsent},
		{Method: http.MethodPost, Path: "/trials/:trial/own/guess", Signed: true, Handle: s.sealGuess},
		{Method: http.MethodGet, Path: "/trials/:trial/own/leave", Signed: true, Handle: s.leavePage},
		{Method: http.MethodPost, Path: "/trials/:trial/own/leave", Signed: true, Handle: s.leave},
	}...)
}

// ownView is an angler's records: outings, the newest first, with their periods and fish, and no totals: how many took
// which fly is for nobody to add up while the trial runs.
type ownView struct {
	standing
	Outings []ownOuting
	Guess   string // the angler's own, "" before he made one
	Carried []conduct.UnitView
	Lost    int    // rounds lost with a phone
	Older   string // the address of the outings before these, "" when these are all
}

type ownOuting struct {
	conduct.OutingView
	Periods    []ownHalf
	Readings   []trial.Temperature
	Deviations []trial.Deviation
}

type ownHalf struct {
	conduct.PeriodView
	Line  Line
	Fish  []conduct.CatchView
	Round string
}

// outingsShown is how many outings a page shows.
const outingsShown = 20

func (s *Site) own(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	if t.Enrolment == nil {
		return v.See(trialPath(t.ID(), ""), "")
	}
	view := ownView{standing: t}
	guesses, err := s.service.Guesses(v.Ctx(), v.Actor, t.ID())
	if err != nil {
		return err
	}
	for _, g := range guesses {
		if g.Mine {
			view.Guess = strconv.Itoa(g.Share)
		}
	}
	outings, err := s.service.Outings(v.Ctx(), v.Actor, t.ID(), trial.Page{Limit: every})
	if err != nil {
		return err
	}
	slices.SortFunc(outings, func(a, b conduct.OutingView) int { return b.Outing.StartedAt.Compare(a.Outing.StartedAt) })
	from, _ := strconv.Atoi(v.QueryParam("from"))
	from = max(0, min(from, len(outings)))
	until := min(from+outingsShown, len(outings))
	if until < len(outings) {
		view.Older = trialPath(t.ID(), "/own?from="+strconv.Itoa(until))
	}
	if view.Carried, view.Lost, err = s.carriedUnits(v, t.ID()); err != nil {
		return err
	}
	fish, err := s.fishByPeriod(v, t.ID())
	if err != nil {
		return err
	}
	for _, o := range outings[from:until] {
		own, err := s.ownOuting(v, t, o, fish)
		if err != nil {
			return err
		}
		view.Outings = append(view.Outings, own)
	}
	return v.Page("own", view)
}

// every is as many of one angler's outings in one trial as there are ever.
const every = 100_000

func (s *Site) fishByPeriod(v *Visit, id trial.ID) (map[trial.ID][]conduct.CatchView, error) {
	list, err := s.service.Catches(v.Ctx(), v.Actor, id, trial.Page{Limit: every})
	if err != nil {
		return nil, err
	}
	of := map[trial.ID][]conduct.CatchView{}
	for _, c := range list {
		of[c.Catch.PeriodID] = append(of[c.Catch.PeriodID], c)
	}
	return of, nil
}

func (s *Site) ownOuting(v *Visit, t standing, o conduct.OutingView, fish map[trial.ID][]conduct.CatchView) (own ownOuting, err error) {
	own.OutingView = o
	periods, err := s.service.Periods(v.Ctx(), v.Actor, t.ID(), o.Outing.ID)
	if err != nil {
		return own, err
	}
	slices.SortFunc(periods, func(a, b conduct.PeriodView) int { return a.Period.StartedAt.Compare(b.Period.StartedAt) })
	for _, p := range periods {
		line := lineOf(t.Protocol, p.Period.Fished)
		line.Row = true
		half := ownHalf{PeriodView: p, Line: line, Fish: fish[p.Period.ID], Round: p.Period.Block}
		slices.SortFunc(half.Fish, func(a, b conduct.CatchView) int { return a.Catch.CaughtAt.Compare(b.Catch.CaughtAt) })
		own.Periods = append(own.Periods, half)
	}
	if own.Readings, err = s.service.Temperatures(v.Ctx(), v.Actor, t.ID(), o.Outing.ID); err != nil {
		return own, err
	}
	own.Deviations, err = s.service.Deviations(v.Ctx(), v.Actor, t.ID(), o.Outing.ID)
	return own, err
}

// changeConsent sets the ticks that may change later.
func (s *Site) changeConsent(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	tick := func(name string) *bool { return new(f.Get(name) == "yes") }
	change := conduct.ConsentChange{PublishOpen: tick("publish_open"), PlaceCoarse: tick("place_coarse"), ContactAgain: tick("contact_again")}
	if _, err := s.service.ChangeConsent(v.Ctx(), v.Actor, id, change); err != nil {
		return err
	}
	return v.See(trialPath(id, "/own"), "consent_changed")
}

type leaveView struct {
	standing
	*Form
}

func (s *Site) leavePage(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	if t.Enrolment == nil {
		return trial.Missing("enrolment")
	}
	return v.Page("leave", leaveView{t, newForm(url.Values{})})
}

func (s *Site) leave(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	erase := f.Get("how") == "erase"
	if erase && f.Get("sure") != "yes" {
		var faults trial.Faults
		faults.Add("sure", "%s", v.T("own.erase_unsure"))
		return v.Again("leave", f, leaveView{t, f}, faults.Err("leave.unsure", v.T("own.erase_nothing_done")))
	}
	if err := s.service.Withdraw(v.Ctx(), v.Actor, t.ID(), erase); err != nil {
		return v.Again("leave", f, leaveView{t, f}, err)
	}
	if erase {
		return v.See(trialPath(t.ID(), ""), "erased")
	}
	return v.See(trialPath(t.ID(), ""), "left_trial")
}
