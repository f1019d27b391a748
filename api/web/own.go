package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// ownRoutes are an angler's own records in a trial, their corrections, and leaving it.
func (s *Site) ownRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/own", Signed: true, Handle: s.own},
		{Method: http.MethodGet, Path: "/trials/:trial/own/catches/:catch", Signed: true, Handle: s.ownCatch},
		{Method: http.MethodPost, Path: "/trials/:trial/own/catches/:catch", Signed: true, Handle: s.correctCatch},
		{Method: http.MethodGet, Path: "/trials/:trial/own/periods/:period", Signed: true, Handle: s.ownPeriod},
		{Method: http.MethodPost, Path: "/trials/:trial/own/periods/:period", Signed: true, Handle: s.correctPeriod},
		{Method: http.MethodGet, Path: "/trials/:trial/own/outings/:outing", Signed: true, Handle: s.ownOutingPage},
		{Method: http.MethodPost, Path: "/trials/:trial/own/outings/:outing", Signed: true, Handle: s.correctOuting},
		{Method: http.MethodPost, Path: "/trials/:trial/own/consent", Signed: true, Handle: s.changeConsent},
		{Method: http.MethodPost, Path: "/trials/:trial/own/guess", Signed: true, Handle: s.sealGuess},
		{Method: http.MethodGet, Path: "/trials/:trial/own/leave", Signed: true, Handle: s.leavePage},
		{Method: http.MethodPost, Path: "/trials/:trial/own/leave", Signed: true, Handle: s.leave},
	}
}

// ownView is an angler's records: outings, the newest first, with their periods and fish, and no totals: how many took
// which fly is for nobody to add up while the trial runs.
type ownView struct {
	standing
	Outings []ownOuting
	Guess   string // the angler's own, "" before he made one
	Older   string // the address of the outings before these, "" when these are all
}

type ownOuting struct {
	conduct.OutingView
	Periods    []ownHalf
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
	own.Deviations, err = s.service.Deviations(v.Ctx(), v.Actor, t.ID(), o.Outing.ID)
	return own, err
}

// Corrects reports whether records may still be corrected.
func (t standing) Corrects() bool { return t.Trial.Corrects() == nil }

// correctionView is a record with the form that corrects it and the corrections so far.
type correctionView struct {
	standing
	*Form
	Catch   *conduct.CatchView
	Period  *conduct.PeriodView
	Outing  *conduct.OutingView
	Line    Line
	History []shownAmendment
}

// shownAmendment is a correction as a page shows it: what changed, field by field.
type shownAmendment struct {
	trial.Amendment
	Changes []shownChange
}

type shownChange struct{ Field, Old, New string }

func (s *Site) correcting(v *Visit, subject trial.ID) (view correctionView, err error) {
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	list, err := s.service.Amendments(v.Ctx(), v.Actor, view.ID(), subject)
	if err != nil {
		return view, err
	}
	for _, a := range list {
		shown := shownAmendment{Amendment: a.Amendment}
		var old, now map[string]json.RawMessage
		if err := errors.Join(json.Unmarshal(a.Old, &old), json.Unmarshal(a.New, &now)); err != nil {
			return view, err
		}
		for field := range now {
			shown.Changes = append(shown.Changes, shownChange{field, plainly(old[field]), plainly(now[field])})
		}
		slices.SortFunc(shown.Changes, func(a, b shownChange) int { return strings.Compare(a.Field, b.Field) })
		view.History = append(view.History, shown)
	}
	return view, nil
}

// plainly writes a JSON value as a reader expects it.
func plainly(raw json.RawMessage) string {
	var m trial.Measure
	if json.Unmarshal(raw, &m) == nil && m.Unit != "" {
		return m.String()
	}
	return strings.Trim(string(raw), `"`)
}

func (s *Site) ownCatch(v *Visit) error {
	view, err := s.catchToCorrect(v)
	if err != nil {
		return err
	}
	view.Form = catchForm(*view.Catch, v.units())
	return v.Page("correct-catch", view)
}

func (s *Site) catchToCorrect(v *Visit) (view correctionView, err error) {
	id, err := v.ID("catch")
	if err != nil {
		return view, err
	}
	if view, err = s.correcting(v, id); err != nil {
		return view, err
	}
	c, err := s.service.Catch(v.Ctx(), v.Actor, view.ID(), id)
	view.Catch = &c
	return view, err
}

// moment is how a form writes a time: as the device had it, its offset beside it.
const moment = "2006-01-02T15:04:05"

func catchForm(view conduct.CatchView, u Units) *Form {
	c := view.Catch
	values := url.Values{
		"version": {strconv.Itoa(c.Version)}, "taken_pattern": {c.TakenPattern}, "outcome": {string(c.Outcome)}, "species": {c.Species}, "origin": {string(c.Origin)}, "note": {c.Note},
		"caught_at": {c.CaughtAt.Format(moment)}, "zone": {c.CaughtAt.Format("-07:00")}, "length_unit": {u.Length},
	}
	if c.Length != nil {
		values.Set("length", number(c.Length.Value))
		values.Set("length_unit", c.Length.Unit)
	}
	for name, set := range map[string]bool{"foul_hooked": c.FoulHooked, "rig_intact": c.RigIntact, "void": c.Void} {
		if set {
			values.Set(name, "yes")
		}
	}
	return newForm(values)
}

func (s *Site) correctCatch(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.catchToCorrect(v)
	if err != nil {
		return err
	}
	view.Form = f
	c, err := correctionFrom(f, catchForm(*view.Catch, v.units()))
	if err == nil {
		_, err = s.service.AmendCatch(v.Ctx(), v.Actor, view.ID(), view.Catch.Catch.ID, c)
	}
	if err != nil {
		return v.Again("correct-catch", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/own"), "corrected")
}

// correctionFrom reads a correction: the version that was seen, the reason, and what differs from the form as it stood.
func correctionFrom(f, stood *Form) (c conduct.Correction, err error) {
	if c.Seen, err = f.whole("version"); err != nil {
		return c, err
	}
	c.Reason = f.Get("reason")
	var faults trial.Faults
	patch := map[string]any{}
	for _, name := range correctable {
		_, asked := f.Values[name]
		_, had := stood.Values[name]
		if (asked || had) && f.Get(name) != stood.Get(name) {
			field, value := change(f, name, &faults)
			patch[field] = value
		}
	}
	if err := faults.Err("amendment.invalid", "the correction has faults"); err != nil {
		return c, err
	}
	c.Patch, err = json.Marshal(patch)
	return c, err
}

// correctable are the fields of the forms that correct something.
var correctable = []string{
	"taken_pattern", "outcome", "species", "origin", "note", "caught_at", "length", "length_unit", "foul_hooked", "rig_intact", "void", "fished", "confirmed", "started_at", "welfare",
	"water", "started_late", "water_temperature", "water_temperature_unit", "conditions", "ended_at", "end_reason", "not_logged",
}

// change is what a changed field of the form is to the record.
func change(f *Form, name string, faults *trial.Faults) (string, any) {
	switch name {
	case "foul_hooked", "rig_intact", "void", "confirmed", "started_late":
		return name, f.Get(name) == "yes"
	case "caught_at", "started_at", "ended_at":
		return name, f.moment(name, faults)
	case "water_temperature", "water_temperature_unit":
		return "water_temperature", f.measure("water_temperature", faults)
	case "not_logged":
		n, err := f.whole(name)
		if err != nil {
			faults.Add(name, "is %q; accepted: a whole number", f.Get(name))
		}
		return name, n
	case "length", "length_unit":
		return "length", f.measure("length", faults)
	}
	return name, f.Get(name)
}

// moment reads a time and the offset beside it.
func (f *Form) moment(name string, faults *trial.Faults) any {
	text := f.Get(name)
	if len(text) == len("2006-01-02T15:04") {
		text += ":00"
	}
	at, err := time.Parse(moment+"-07:00", text+f.Get("zone"))
	if err != nil {
		faults.Add(name, "is %q; accepted: a date and a time", f.Get(name))
		return nil
	}
	return at.Format(time.RFC3339)
}

// measure reads a number with the unit beside it, nil where it was left empty.
func (f *Form) measure(name string, faults *trial.Faults) any {
	text := strings.Replace(strings.TrimSpace(f.Get(name)), ",", ".", 1)
	if text == "" {
		return nil
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || value-value != 0 {
		faults.Add(name, "is %q; accepted: a number", f.Get(name))
		return nil
	}
	return trial.Measure{Value: value, Unit: f.Get(name + "_unit")}
}

func (s *Site) ownPeriod(v *Visit) error {
	view, err := s.periodToCorrect(v)
	if err != nil {
		return err
	}
	view.Form = periodForm(*view.Period)
	return v.Page("correct-period", view)
}

func (s *Site) periodToCorrect(v *Visit) (view correctionView, err error) {
	id, err := v.ID("period")
	if err != nil {
		return view, err
	}
	if view, err = s.correcting(v, id); err != nil {
		return view, err
	}
	p, err := s.service.Period(v.Ctx(), v.Actor, view.ID(), id)
	view.Period, view.Line = &p, lineOf(view.Protocol, p.Period.Fished)
	return view, err
}

func periodForm(view conduct.PeriodView) *Form {
	p := view.Period
	values := url.Values{
		"version": {strconv.Itoa(p.Version)}, "fished": {string(p.Fished)}, "started_at": {p.StartedAt.Format(moment)}, "zone": {p.StartedAt.Format("-07:00")},
	}
	if p.Confirmed {
		values.Set("confirmed", "yes")
	}
	return newForm(values)
}

func (s *Site) correctPeriod(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.periodToCorrect(v)
	if err != nil {
		return err
	}
	view.Form = f
	c, err := correctionFrom(f, periodForm(*view.Period))
	if err == nil {
		_, err = s.service.AmendPeriod(v.Ctx(), v.Actor, view.ID(), view.Period.Period.ID, c)
	}
	if err != nil {
		return v.Again("correct-period", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/own"), "corrected")
}

func (s *Site) ownOutingPage(v *Visit) error {
	view, err := s.outingToCorrect(v)
	if err != nil {
		return err
	}
	view.Form = outingForm(*view.Outing, v.units())
	return v.Page("correct-outing", view)
}

func (s *Site) outingToCorrect(v *Visit) (view correctionView, err error) {
	id, err := v.ID("outing")
	if err != nil {
		return view, err
	}
	if view, err = s.correcting(v, id); err != nil {
		return view, err
	}
	o, err := s.service.Outing(v.Ctx(), v.Actor, view.ID(), id)
	view.Outing = &o
	return view, err
}

func outingForm(view conduct.OutingView, u Units) *Form {
	o := view.Outing
	values := url.Values{
		"version": {strconv.Itoa(o.Version)}, "water": {o.Water}, "started_at": {o.StartedAt.Format(moment)}, "zone": {o.StartedAt.Format("-07:00")}, "conditions": {o.Conditions},
		"note": {o.Note}, "water_temperature_unit": {u.Temperature},
	}
	if o.WaterTemperature != nil {
		values.Set("water_temperature", number(o.WaterTemperature.Value))
		values.Set("water_temperature_unit", o.WaterTemperature.Unit)
	}
	if o.End != nil {
		values.Set("ended_at", o.End.EndedAt.In(o.StartedAt.Location()).Format(moment))
		values.Set("end_reason", o.End.Reason)
		values.Set("not_logged", strconv.Itoa(o.End.NotLogged))
	}
	for name, set := range map[string]bool{"started_late": o.StartedLate, "void": o.Void} {
		if set {
			values.Set(name, "yes")
		}
	}
	return newForm(values)
}

func (s *Site) correctOuting(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.outingToCorrect(v)
	if err != nil {
		return err
	}
	view.Form = f
	c, err := correctionFrom(f, outingForm(*view.Outing, v.units()))
	if err == nil {
		_, err = s.service.AmendOuting(v.Ctx(), v.Actor, view.ID(), view.Outing.Outing.ID, c)
	}
	if err != nil {
		return v.Again("correct-outing", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/own"), "corrected")
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
