package web

import (
	"cmp"
	"errors"
	"net/http"
	"net/url"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// trialRoutes are a trial's home, joining it, and its moves from state to state.
func (s *Site) trialRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial", Signed: true, Handle: s.trialHome},
		{Method: http.MethodGet, Path: "/trials/:trial/join", Signed: true, Handle: s.enrolPage},
		{Method: http.MethodPost, Path: "/trials/:trial/join", Signed: true, Handle: s.enrol},
		{Method: http.MethodGet, Path: "/trials/:trial/move/:state", Signed: true, Handle: s.movePage},
		{Method: http.MethodPost, Path: "/trials/:trial/move/:state", Signed: true, Handle: s.move},
		{Method: http.MethodGet, Path: "/trials/:trial/members", Signed: true, Handle: s.enrolled},
		{Method: http.MethodPost, Path: "/trials/:trial/members/:enrolment/guardian", Signed: true, Handle: s.confirmGuardian},
	}
}

func trialPath(id trial.ID, below string) string { return "/trials/" + id.String() + below }

// standing is a trial as a page needs it at its head: what it is, who reads, and whether the reader fishes it.
type standing struct {
	conduct.TrialView
	Club      conduct.MyClub
	Protocol  trial.Protocol
	Revision  int
	Enrolment *trial.Enrolment // the reader's own, nil when he has not joined
	Now       time.Time
}

// ID is the trial's id.
func (t standing) ID() trial.ID { return t.Trial.ID }

// Organises reports whether the reader is an organiser.
func (t standing) Organises() bool { return t.Club.Role == trial.Organiser }

// Fishes reports whether the reader takes part.
func (t standing) Fishes() bool { return t.Enrolment != nil && t.Enrolment.Active() == nil }

// MayJoin reports whether the reader may join the trial now.
func (t standing) MayJoin() bool {
	return t.Enrolment == nil && t.Trial.Enrols() == nil && trial.Permit(trial.Enrol, t.Club.Role) == nil
}

// Notes reports whether the reader may note for other anglers.
func (t standing) Notes() bool { return trial.Permit(trial.NoteForOthers, t.Club.Role) == nil }

// In reports whether the trial is in one of the states.
func (t standing) In(states ...string) bool {
	for _, s := range states {
		if string(t.Trial.State) == s {
			return true
		}
	}
	return false
}

// Drawn reports whether the fish are caught by the draw, and not imported.
func (t standing) Drawn() bool { return t.Trial.Source == trial.Drawn }

// FewAnglers reports whether there are too few anglers to hide the running effect.
func (t standing) FewAnglers() bool {
	return t.Trial.Hidden() && t.ActiveAnglers < conduct.FewestToHide
}

func (s *Site) standing(v *Visit) (t standing, err error) {
	id, err := v.ID("trial")
	if err != nil {
		return t, err
	}
	t.Now = s.service.Now()
	if t.TrialView, err = s.service.Trial(v.Ctx(), v.Actor, id); err != nil {
		return t, err
	}
	if t.Club, err = s.service.Club(v.Ctx(), v.Actor, t.Trial.ClubID); err != nil {
		return t, err
	}
	p, err := s.service.Protocol(v.Ctx(), v.Actor, id)
	if err != nil {
		return t, err
	}
	t.Protocol, t.Revision = p.Protocol, p.Revision
	if e, err := s.service.Enrolment(v.Ctx(), v.Actor, id); err == nil {
		t.Enrolment = &e
	} else if trial.KindOf(err) != trial.NotFound && trial.KindOf(err) != trial.Forbidden {
		return t, err
	}
	return t, nil
}

// anglers are those who fish the trial, none for a reader who may not list them.
func (s *Site) anglers(v *Visit, t standing) (active []trial.Enrolment, err error) {
	if trial.Permit(trial.ReadEnrolments, t.Club.Role) != nil {
		return nil, nil
	}
	list, err := s.service.Enrolments(v.Ctx(), v.Actor, t.ID())
	for _, e := range list {
		if e.Active() == nil {
			active = append(active, e)
		}
	}
	return active, err
}

// next is what the reader can do next, in one sentence, with where it is done.
type next struct{ Words, Path, Link string }

// Move is a state that the trial may go to. Waits says why not yet, "" when it may now.
type stateMove struct {
	To    trial.State
	Waits string
}

type homeView struct {
	standing
	Next  next
	Moves []stateMove
}

// Rig is the trial's line, before chance has said which fly hangs lower, with its measure.
func (t standing) Rig() Line { return lineOf(t.Protocol, "").measured(t.Protocol.Rig.SpacingCM) }

func (s *Site) trialHome(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	view := homeView{standing: t, Next: t.next(v)}
	if trial.Permit(trial.MoveTrial, t.Club.Role) == nil {
		view.Moves = t.moves()
	}
	return v.Page("trial", view)
}

// moveOrder is the order in which a page offers the moves.
var moveOrder = []trial.State{trial.Registered, trial.Open, trial.Paused, trial.Closed, trial.Locked, trial.Abandoned}

// moves asks the trial's own rules what may follow.
func (t standing) moves() (list []stateMove) {
	for _, to := range moveOrder {
		const reason = "asked whether it may"
		err := t.Trial.Move(to, reason, t.Protocol, t.Now)
		if to == trial.Locked {
			err = cmp.Or(err, t.Awaits)
		}
		switch {
		case err == nil:
			list = append(list, stateMove{To: to})
		case codeOf(err) == "trial.too_early":
			list = append(list, stateMove{to, detailOf(err)})
		}
	}
	return list
}

func codeOf(err error) string {
	if failed, ok := errors.AsType[*trial.Error](err); ok {
		return failed.Code
	}
	return ""
}

func detailOf(err error) string {
	if failed, ok := errors.AsType[*trial.Error](err); ok {
		return failed.Detail
	}
	return ""
}

// next says what the reader can do, by what he is and where the trial stands.
func (t standing) next(v *Visit) next {
	at := func(words, below, link string) next {
		n := next{Words: v.book.sayOf("next", words)}
		if link != "" {
			n.Path, n.Link = trialPath(t.ID(), below), v.book.sayOf("next", link)
		}
		return n
	}
	water := next{v.T("next.fish"), "/water", v.T("next.to_water")}
	switch {
	case t.MayJoin() && !t.Organises():
		return at("join", "/join", "to_join")
	case t.Organises() && t.In("draft") && t.Protocol.Validate() != nil:
		return at("write", "/protocol", "to_write")
	case t.Organises() && t.In("draft"):
		return at("register", "/move/registered", "to_register")
	case t.Organises() && t.In("registered"):
		return at("open", "/move/open", "to_open")
	case t.Organises() && t.In("open") && !t.Drawn():
		return at("import", "/import", "to_import")
	case t.Organises() && t.In("open") && !t.Fishes() && t.ActiveAnglers < t.Protocol.MinAnglers:
		return at("few", "/members", "to_members")
	case t.Organises() && t.In("closed") && cmp.Or(t.Trial.Move(trial.Locked, "", t.Protocol, t.Now), t.Awaits) == nil:
		return at("lock", "/move/locked", "to_lock")
	case t.Organises() && t.In("closed") && t.Drawn():
		return at("arriving", "/outstanding", "to_outstanding")
	case t.In("draft"):
		return at("drafting", "", "")
	case t.In("registered") && t.Fishes():
		return at("wait", "/draw-night", "to_draw_night")
	case t.In("open") && t.Fishes():
		return water
	case t.In("open"):
		return at("running", "/progress", "to_progress")
	case t.In("paused"):
		return at("paused", "/progress", "to_progress")
	case t.In("closed") && t.Fishes():
		return at("send", "/own", "to_own")
	case t.In("closed"):
		return at("arriving", "/progress", "to_progress")
	case t.In("locked", "published") && t.Closing > 0:
		return at("read", "/result", "to_result")
	case t.In("locked", "published"):
		return at("counting", "/progress", "to_progress")
	case t.In("abandoned"):
		return at("abandoned", "/progress", "to_progress")
	}
	return at("running", "/progress", "to_progress")
}

type moveView struct {
	standing
	*Form
	To     trial.State
	Waits  string
	Faults []trial.FieldError // of the protocol, which registering wants without
}

func (s *Site) moving(v *Visit, f *Form) (view moveView, err error) {
	view.Form, view.To = f, trial.State(v.Param("state"))
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	if err := trial.Permit(trial.MoveTrial, view.Club.Role); err != nil {
		return view, err
	}
	for _, m := range view.moves() {
		if m.To == view.To {
			view.Waits = m.Waits
			if view.To == trial.Registered {
				if failed, ok := errors.AsType[*trial.Error](view.Protocol.Validate()); ok {
					view.Faults = failed.Fields
				}
			}
			return view, nil
		}
	}
	return view, trial.Missing("move")
}

func (s *Site) movePage(v *Visit) error {
	view, err := s.moving(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("move", view)
}

func (s *Site) move(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.moving(v, f)
	if err != nil {
		return err
	}
	if _, err := s.service.MoveTrial(v.Ctx(), v.Actor, view.ID(), view.To, f.Get("reason")); err != nil {
		return v.Again("move", f, view, err)
	}
	return v.See(trialPath(view.ID(), ""), "moved")
}

// enrolledView is who has joined, for the organiser, with what he lets single anglers do in warm water.
type enrolledView struct {
	standing
	*Form
	Enrolments []trial.Enrolment
	Overrides  []conduct.OverrideView
}

func (s *Site) enrolled(v *Visit) error {
	view, err := s.membersOf(v, newForm(url.Values{"day": {s.service.Now().Format(time.DateOnly)}}))
	if err != nil {
		return err
	}
	return v.Page("enrolled", view)
}

// confirmGuardian notes that the organiser has seen a guardian's yes.
func (s *Site) confirmGuardian(v *Visit) error {
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	enrolment, err := v.ID("enrolment")
	if err != nil {
		return err
	}
	if err := s.service.ConfirmGuardian(v.Ctx(), v.Actor, id, enrolment); err != nil {
		return err
	}
	return v.See(trialPath(id, "/members"), "guardian_confirmed")
}

func (s *Site) membersOf(v *Visit, f *Form) (view enrolledView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	if view.Enrolments, err = s.service.Enrolments(v.Ctx(), v.Actor, view.ID()); err != nil {
		return view, err
	}
	view.Overrides, err = s.service.WelfareOverrides(v.Ctx(), v.Actor, view.ID())
	return view, err
}

// Overridable reports whether the trial's state lets the organiser override a stop for warm water.
func (t standing) Overridable() bool { return t.Trial.Overrides() == nil && t.ActiveAnglers > 0 }
