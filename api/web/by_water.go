package web

import (
	"net/http"
	"strconv"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// byWaterRoutes are what an angler notes at the table of what happened at the water beside the fish: readings of its temperature, and
// rounds that were lost with a phone.
func (s *Site) byWaterRoutes() []Route {
	return []Route{
		{Method: http.MethodPost, Path: "/trials/:trial/own/outings/:outing/temperatures", Signed: true, Handle: s.measureWater},
		{Method: http.MethodPost, Path: "/trials/:trial/own/lost", Signed: true, Handle: s.loseRounds},
	}
}

// measureWater notes a reading. Its id stands in the form, so that a form sent twice makes one reading.
func (s *Site) measureWater(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	kind := recordKind{"outing", "outings", s.readOuting, s.amendOuting}
	view, outing, err := s.toCorrect(v, kind)
	if err != nil {
		return err
	}
	for name, values := range f.Values {
		view.Form.Values[name] = values
	}
	var faults trial.Faults
	reading := trial.Temperature{OutingID: outing, At: clockOf(view.Outing.Outing.StartedAt, f.Get("reading_at"), &faults)}
	if m, ok := f.measure("reading", &faults).(trial.Measure); ok {
		reading.Water = m
	}
	if reading.ID, err = trial.ParseID(f.Get("reading_id")); err != nil {
		return trial.Missing("reading")
	}
	if err = faults.Err("temperature.invalid", "the reading has faults"); err == nil {
		_, err = s.service.MeasureWater(v.Ctx(), v.Actor, view.ID(), reading)
	}
	if err != nil {
		return v.Again("correct-outing", view.Form, view, err)
	}
	return v.See(trialPath(view.ID(), "/own/outings/"+outing.String()), "water_measured")
}

// clockOf reads a clock time of an outing's day, by the clock that its phone had; of an outing past midnight, of the day after.
func clockOf(began time.Time, text string, faults *trial.Faults) time.Time {
	clock, err := time.Parse("15:04", text)
	if err != nil {
		faults.Add("reading_at", "is %q; accepted: a time of that day, like 14:30", text)
		return began
	}
	at := time.Date(began.Year(), began.Month(), began.Day(), clock.Hour(), clock.Minute(), 0, 0, began.Location())
	if at.Before(began.Truncate(time.Minute)) {
		return at.AddDate(0, 0, 1)
	}
	return at
}

// carriedUnits are an angler's units that no outing has begun: those that a phone carries, and how many were lost with one.
func (s *Site) carriedUnits(v *Visit, id trial.ID) (carried []conduct.UnitView, lost int, err error) {
	units, err := s.service.Units(v.Ctx(), v.Actor, id)
	for _, u := range units {
		switch {
		case u.Unit.LostAt != nil:
			lost++
		case u.Unit.OpenedAt == nil:
			carried = append(carried, u)
		}
	}
	return carried, lost, err
}

// loseRounds notes every carried round as lost with the phone.
func (s *Site) loseRounds(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	carried, _, err := s.carriedUnits(v, id)
	if err != nil {
		return err
	}
	if f.Get("sure") != "yes" || f.Get("rounds") != strconv.Itoa(len(carried)) {
		return v.See(trialPath(id, "/own"), "")
	}
	for _, u := range carried {
		if _, err := s.service.LoseUnit(v.Ctx(), v.Actor, id, u.Unit.ID, s.service.Now()); err != nil {
			return err
		}
	}
	return v.See(trialPath(id, "/own"), "rounds_lost")
}
