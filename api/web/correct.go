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

// correctionRoutes are the page of each kind of record that its angler may correct, and the form on it.
func (s *Site) correctionRoutes() (routes []Route) {
	for _, kind := range []recordKind{
		{"catch", "catches", s.readCatch, s.amendCatch},
		{"period", "periods", s.readPeriod, s.amendPeriod},
		{"outing", "outings", s.readOuting, s.amendOuting},
	} {
		path := "/trials/:trial/own/" + kind.folder + "/:" + kind.name
		routes = append(
			routes,
			Route{Method: http.MethodGet, Path: path, Signed: true, Handle: func(v *Visit) error { return s.correctionPage(v, kind) }},
			Route{Method: http.MethodPost, Path: path, Signed: true, Handle: func(v *Visit) error { return s.correct(v, kind) }},
		)
	}
	return routes
}

// recordKind is a kind of record that can be corrected: its name and where its pages are, how the record with an id is
// read into a view with the form as it stands, and how it is amended.
type recordKind struct {
	name, folder string
	read         func(v *Visit, view *correctionView, id trial.ID) error
	amend        func(v *Visit, view correctionView, id trial.ID, c conduct.Correction) error
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
	// Of an outing: the readings of its water, and the id that another one will have.
	Readings []trial.Temperature
	Reading  trial.ID
}

// shownAmendment is a correction as a page shows it: what changed, field by field.
type shownAmendment struct {
	conduct.AmendmentView
	Changes []shownChange
}

type shownChange struct{ Field, Old, New string }

func (s *Site) correctionPage(v *Visit, kind recordKind) error {
	view, _, err := s.toCorrect(v, kind)
	if err != nil {
		return err
	}
	return v.Page("correct-"+kind.name, view)
}

func (s *Site) correct(v *Visit, kind recordKind) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, id, err := s.toCorrect(v, kind)
	if err != nil {
		return err
	}
	c, err := correctionFrom(f, view.Form)
	view.Form = f
	if err == nil {
		err = kind.amend(v, view, id, c)
	}
	if err != nil {
		return v.Again("correct-"+kind.name, f, view, err)
	}
	return v.See(trialPath(view.ID(), "/own"), "corrected")
}

// toCorrect reads the record in the address, with its corrections so far and the form as it stands.
func (s *Site) toCorrect(v *Visit, kind recordKind) (view correctionView, id trial.ID, err error) {
	if id, err = v.ID(kind.name); err != nil {
		return view, id, err
	}
	if view.standing, err = s.standing(v); err != nil {
		return view, id, err
	}
	if view.History, err = s.history(v, view.ID(), id); err != nil {
		return view, id, err
	}
	return view, id, kind.read(v, &view, id)
}

// history lists the corrections of a record, the oldest first.
func (s *Site) history(v *Visit, t, subject trial.ID) (history []shownAmendment, err error) {
	list, err := s.service.Amendments(v.Ctx(), v.Actor, t, subject)
	if err != nil {
		return nil, err
	}
	for _, a := range list {
		shown := shownAmendment{AmendmentView: a}
		var old, now map[string]json.RawMessage
		if err := errors.Join(json.Unmarshal(a.Old, &old), json.Unmarshal(a.New, &now)); err != nil {
			return nil, err
		}
		for field := range now {
			shown.Changes = append(shown.Changes, shownChange{field, plainly(field, old[field]), plainly(field, now[field])})
		}
		slices.SortFunc(shown.Changes, func(a, b shownChange) int { return strings.Compare(a.Field, b.Field) })
		history = append(history, shown)
	}
	return history, nil
}

// plainly writes a JSON value of a record's field as a reader expects it.
func plainly(field string, raw json.RawMessage) string {
	if (field == "test_fly" || field == "control_fly") && string(raw) == "0" {
		return ""
	}
	var m trial.Measure
	if json.Unmarshal(raw, &m) == nil && m.Unit != "" {
		return m.String()
	}
	return strings.Trim(string(raw), `"`)
}

func (s *Site) readCatch(v *Visit, view *correctionView, id trial.ID) error {
	one, err := s.service.Catch(v.Ctx(), v.Actor, view.ID(), id)
	view.Catch, view.Form = &one, catchForm(one, v.units())
	return err
}

func (s *Site) amendCatch(v *Visit, view correctionView, id trial.ID, c conduct.Correction) error {
	_, err := s.service.AmendCatch(v.Ctx(), v.Actor, view.ID(), id, c)
	return err
}

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

func (s *Site) readPeriod(v *Visit, view *correctionView, id trial.ID) error {
	one, err := s.service.Period(v.Ctx(), v.Actor, view.ID(), id)
	view.Period, view.Line, view.Form = &one, lineOf(view.Protocol, one.Period.Fished), periodForm(one)
	return err
}

func (s *Site) amendPeriod(v *Visit, view correctionView, id trial.ID, c conduct.Correction) error {
	_, err := s.service.AmendPeriod(v.Ctx(), v.Actor, view.ID(), id, c)
	return err
}

func periodForm(view conduct.PeriodView) *Form {
	p := view.Period
	values := url.Values{
		"version": {strconv.Itoa(p.Version)}, "fished": {string(p.Fished)}, "test_fly": {flyNumber(p.TestFly)}, "control_fly": {flyNumber(p.ControlFly)}, "started_at": {p.StartedAt.Format(moment)}, "zone": {p.StartedAt.Format("-07:00")},
	}
	if p.Confirmed {
		values.Set("confirmed", "yes")
	}
	return newForm(values)
}

// flyNumber writes a fly's number, nothing where it is not known.
func flyNumber(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func (s *Site) readOuting(v *Visit, view *correctionView, id trial.ID) error {
	one, err := s.service.Outing(v.Ctx(), v.Actor, view.ID(), id)
	if err != nil {
		return err
	}
	view.Outing, view.Form, view.Reading = &one, outingForm(one, v.units()), s.service.NewID()
	view.Readings, err = s.service.Temperatures(v.Ctx(), v.Actor, view.ID(), id)
	return err
}

func (s *Site) amendOuting(v *Visit, view correctionView, id trial.ID, c conduct.Correction) error {
	_, err := s.service.AmendOuting(v.Ctx(), v.Actor, view.ID(), id, c)
	return err
}

func outingForm(view conduct.OutingView, u Units) *Form {
	o := view.Outing
	values := url.Values{
		"version": {strconv.Itoa(o.Version)}, "water": {o.Water}, "started_at": {o.StartedAt.Format(moment)}, "zone": {o.StartedAt.Format("-07:00")}, "conditions": {o.Conditions},
		"note": {o.Note}, "water_temperature_unit": {u.Temperature}, "reading_unit": {u.Temperature},
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
	"taken_pattern", "outcome", "species", "origin", "note", "caught_at", "length", "length_unit", "foul_hooked", "rig_intact", "void", "fished", "confirmed", "test_fly", "control_fly", "started_at", "welfare",
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
	case "test_fly", "control_fly":
		if f.Get(name) == "" {
			return name, nil
		}
		fallthrough
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

// moment is how a form writes a time: as the device had it, its offset beside it.
const moment = "2006-01-02T15:04:05"

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
