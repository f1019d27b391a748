package web

import (
	"cmp"
	"crypto/rand"
	"encoding/hex"
	"net/url"

	"github.com/google/uuid"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// enrolView is the page on which an angler joins a trial: its rules in plain words, the cautions, the ticks.
type enrolView struct {
	standing
	*Form
	Rules report.Rules
}

func (s *Site) enrolling(v *Visit, f *Form) (view enrolView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	view.Rules = report.NewRules(view.Protocol)
	return view, nil
}

// enrolPage hands out an id and a code for the draw. A script makes them anew in the browser, so that nobody but the angler
// knew the code beforehand; without one they are the server's.
func (s *Site) enrolPage(v *Visit) error {
	view, err := s.enrolling(v, newForm(freshDraw()))
	if err != nil {
		return err
	}
	if view.Enrolment != nil {
		return v.See(trialPath(view.ID(), "/own"), "")
	}
	if !view.MayJoin() {
		return v.See(trialPath(view.ID(), ""), "")
	}
	return v.Page("enrol", view)
}

func (s *Site) enrol(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.enrolling(v, f)
	if err != nil {
		return err
	}
	e, err := enrolmentFrom(f)
	guess, guessErr := f.guess()
	if err = cmp.Or(err, guessErr); err == nil {
		_, err = s.service.Enrol(v.Ctx(), v.Actor, view.ID(), e)
	}
	if err == nil && guess != nil {
		err = s.service.Guess(v.Ctx(), v.Actor, view.ID(), *guess)
	}
	if err != nil {
		return v.Again("enrol", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/own"), "enrolled")
}

// guess is the guess in a form, nil where none was made; it is looked at before anything is kept.
func (f *Form) guess() (*int, error) {
	if f.Get("guess") == "" {
		return nil, nil
	}
	share, err := f.whole("guess")
	return &share, cmp.Or(err, trial.CheckGuess(share))
}

// sealGuess takes the guess of who has joined without one.
func (s *Site) sealGuess(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	share, err := f.whole("guess")
	if err != nil {
		return err
	}
	if err := s.service.Guess(v.Ctx(), v.Actor, id, share); err != nil {
		return err
	}
	return v.See(trialPath(id, "/own"), "guess_sealed")
}

// freshDraw is a new enrolment's id and code for the draw, for a browser in which no script makes them.
func freshDraw() url.Values {
	var code [32]byte
	rand.Read(code[:]) // never fails
	return url.Values{"enrolment": {uuid.NewString()}, "code": {hex.EncodeToString(code[:])}}
}

func enrolmentFrom(f *Form) (e trial.Enrolment, err error) {
	var faults trial.Faults
	if e.ID, err = trial.ParseID(f.Get("enrolment")); err != nil {
		faults.Add("enrolment", "%s", err)
	}
	if n, err := hex.Decode(e.Code[:], []byte(f.Get("code"))); err != nil || n != len(e.Code) {
		faults.Add("code", "is %q; accepted: 32 random bytes in hexadecimal", f.Get("code"))
	}
	tick := func(name string) bool { return f.Get("consent."+name) == "yes" }
	e.Consent = trial.Consent{
		TakePart: tick("take_part"), Store: tick("store"), SharePseudonymous: tick("share_pseudonymous"), LicenceConfirmed: tick("licence_confirmed"),
		AdultOrGuardian: tick("adult_or_guardian"), PublishOpen: tick("publish_open"), ContactAgain: tick("contact_again"), PlaceCoarse: tick("place_coarse"), Minor: tick("minor"),
	}
	return e, faults.Err("enrolment.invalid", "the enrolment has faults")
}
