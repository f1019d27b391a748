package web

import (
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// clubRoutes are about clubs and their members.
func (s *Site) clubRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/clubs", Signed: true, Handle: s.clubs},
		{Method: http.MethodPost, Path: "/clubs", Signed: true, Handle: s.foundClub},
		{Method: http.MethodPost, Path: "/resets", Signed: true, Handle: s.resetAnybody},
		{Method: http.MethodGet, Path: "/clubs/:club", Signed: true, Handle: s.clubPage},
		{Method: http.MethodPost, Path: "/clubs/:club/trials", Signed: true, Handle: s.draftTrial},
		{Method: http.MethodPost, Path: "/clubs/:club/invitations", Signed: true, Handle: s.invite},
		{Method: http.MethodPost, Path: "/clubs/:club/invitations/:invitation/end", Signed: true, Handle: s.endInvitation},
		{Method: http.MethodPost, Path: "/clubs/:club/members/:member/reset", Signed: true, Handle: s.resetMember},
		{Method: http.MethodGet, Path: "/clubs/:club/members/:member/remove", Signed: true, Handle: s.removePage},
		{Method: http.MethodPost, Path: "/clubs/:club/members/:member/remove", Signed: true, Handle: s.removeMember},
		{Method: http.MethodPost, Path: "/clubs/:club/members/:member/offer", Signed: true, Handle: s.offerRole},
		{Method: http.MethodPost, Path: "/clubs/:club/handovers/:handover/take", Signed: true, Handle: s.takeRole},
		{Method: http.MethodPost, Path: "/clubs/:club/handovers/:handover/end", Signed: true, Handle: s.endOffer},
	}
}

// clubsView is a person's clubs; Found and Reset are an admin's forms.
type clubsView struct {
	conduct.Me
	Found, Reset *Form
}

func (s *Site) clubs(v *Visit) error {
	view, err := s.clubsOf(v)
	if err != nil {
		return err
	}
	return v.Page("clubs", view)
}

func (s *Site) clubsOf(v *Visit) (clubsView, error) {
	me, err := s.service.Me(v.Ctx(), v.Actor)
	return clubsView{me, newForm(url.Values{}), newForm(url.Values{})}, err
}

func (s *Site) foundClub(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	club, err := s.service.CreateClub(v.Ctx(), v.Actor, f.Get("name"))
	if err != nil {
		view, viewErr := s.clubsOf(v)
		if viewErr != nil {
			return viewErr
		}
		view.Found = f
		return v.Again("clubs", f, view, err)
	}
	return v.See(clubPath(club.ID), "club_founded")
}

func (s *Site) resetAnybody(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	link, secret, err := s.service.MakeReset(v.Ctx(), v.Actor, trial.ID{}, f.Get("email"))
	if err != nil {
		view, viewErr := s.clubsOf(v)
		if viewErr != nil {
			return viewErr
		}
		view.Reset = f
		return v.refused("clubs", f, view, err)
	}
	return v.handOut(handout{Kind: "reset", Secret: secret, Ends: link.ExpiresAt, Back: "/clubs"})
}

func clubPath(id trial.ID) string { return "/clubs/" + id.String() }

// clubView is a club as one of its members sees it. What a role may not see is empty.
type clubView struct {
	conduct.MyClub
	Me          trial.ID
	Trials      []trial.Trial
	Members     []trial.Membership
	Invitations []trial.Invitation // that can still be used
	Handovers   []trial.Handover
	Events      []trial.Event
	Names       map[trial.ID]string
	Invite      *Form
	Draft       *Form
}

// Organises reports whether the reader is an organiser.
func (c clubView) Organises() bool { return c.Role == trial.Organiser }

// all is as many as a club's page lists: clubs are small, and who has more members reads them through the API.
const all = 500

func (s *Site) clubOf(v *Visit, id trial.ID) (view clubView, err error) {
	view = clubView{Me: v.Actor.AccountID, Names: map[trial.ID]string{}, Invite: newForm(url.Values{"role": {"angler"}, "uses": {"20"}}), Draft: newForm(url.Values{})}
	ctx, actor := v.Ctx(), v.Actor
	if view.MyClub, err = s.service.Club(ctx, actor, id); err != nil {
		return view, err
	}
	if view.Trials, err = s.service.Trials(ctx, actor, id, trial.Page{Limit: all}); err != nil {
		return view, err
	}
	if view.Members, err = s.service.Members(ctx, actor, id, trial.Page{Limit: all}); err != nil {
		return view, err
	}
	for _, m := range view.Members {
		view.Names[m.AccountID] = m.Name
	}
	if view.Handovers, err = s.service.Handovers(ctx, actor, id); err != nil {
		return view, err
	}
	if trial.Permit(trial.InviteMembers, view.Role) == nil {
		invitations, err := s.service.Invitations(ctx, actor, id)
		if err != nil {
			return view, err
		}
		for _, i := range invitations {
			if i.Usable(s.service.Now()) == nil {
				view.Invitations = append(view.Invitations, i)
			}
		}
	}
	if trial.Permit(trial.ReadEvents, view.Role) == nil {
		view.Events, err = s.service.ClubEvents(ctx, actor, id)
	}
	return view, err
}

func (s *Site) clubPage(v *Visit) error {
	id, err := v.ID("club")
	if err != nil {
		return err
	}
	view, err := s.clubOf(v, id)
	if err != nil {
		return err
	}
	return v.Page("club", view)
}

// inClub reads the form sent to a club's page; again shows the page with its faults, put where form says.
func (s *Site) inClub(v *Visit) (id trial.ID, f *Form, again func(error, func(*clubView)) error, err error) {
	if id, err = v.ID("club"); err != nil {
		return id, nil, nil, err
	}
	if f, err = v.Form(); err != nil {
		return id, nil, nil, err
	}
	again = func(err error, place func(*clubView)) error {
		view, viewErr := s.clubOf(v, id)
		if viewErr != nil {
			return viewErr
		}
		place(&view)
		return v.Again("club", f, view, err)
	}
	return id, f, again, nil
}

// draftTrial drafts a trial with the usual protocol; the page that opens is where the rest of it is written.
func (s *Site) draftTrial(v *Visit) error {
	id, f, again, err := s.inClub(v)
	if err != nil {
		return err
	}
	p := trial.Template()
	p.Title = f.Get("title")
	if f.Get("source") == string(trial.Recorded) {
		p.Source = trial.Recorded
	}
	drafted, err := s.service.CreateTrial(v.Ctx(), v.Actor, id, p)
	if err != nil {
		return again(err, func(view *clubView) { view.Draft = f })
	}
	return v.See(trialPath(drafted.Trial.ID, "/protocol"), "drafted")
}

func (s *Site) invite(v *Visit) error {
	id, f, again, err := s.inClub(v)
	if err != nil {
		return err
	}
	placed := func(view *clubView) { view.Invite = f }
	uses := 1
	if trial.Role(f.Get("role")) == trial.Angler && f.Get("name") == "" {
		if uses, err = f.whole("uses"); err != nil {
			return again(err, placed)
		}
	}
	made, secret, err := s.service.Invite(v.Ctx(), v.Actor, id, trial.Role(f.Get("role")), uses, f.Get("name"))
	if err != nil {
		return again(err, placed)
	}
	return v.handOut(handout{Kind: "join", Secret: secret, Ends: made.ExpiresAt, Back: clubPath(id), Name: made.Name, Uses: made.Uses})
}

func (s *Site) endInvitation(v *Visit) error {
	return s.ofClub(v, "invitation", "invitation_ended", s.service.RevokeInvitation)
}

func (s *Site) offerRole(v *Visit) error {
	return s.ofClub(v, "member", "role_offered", func(ctx ctx, actor trial.Actor, club, member trial.ID) error {
		_, err := s.service.OfferRole(ctx, actor, club, member)
		return err
	})
}

func (s *Site) takeRole(v *Visit) error {
	return s.ofClub(v, "handover", "role_taken", s.service.TakeRole)
}

func (s *Site) endOffer(v *Visit) error {
	return s.ofClub(v, "handover", "offer_ended", s.service.EndOffer)
}

// ofClub does something to a part of a club that the address names, and goes back to the club.
func (s *Site) ofClub(v *Visit, part, done string, do func(ctx, trial.Actor, trial.ID, trial.ID) error) error {
	club, err := v.ID("club")
	if err != nil {
		return err
	}
	id, err := v.ID(part)
	if err != nil {
		return err
	}
	if err := do(v.Ctx(), v.Actor, club, id); err != nil {
		return err
	}
	return v.See(clubPath(club), done)
}

func (s *Site) resetMember(v *Visit) error {
	club, err := v.ID("club")
	if err != nil {
		return err
	}
	member, err := v.ID("member")
	if err != nil {
		return err
	}
	link, secret, err := s.service.MakeMemberReset(v.Ctx(), v.Actor, club, member)
	if err != nil {
		return err
	}
	return v.handOut(handout{Kind: "reset", Secret: secret, Ends: link.ExpiresAt, Back: clubPath(club)})
}

// removeView asks whether a member is to be removed, or whether oneself is to leave.
type removeView struct {
	conduct.MyClub
	Member trial.ID
	Name   string
	Self   bool
}

func (s *Site) removePage(v *Visit) error {
	club, err := v.ID("club")
	if err != nil {
		return err
	}
	member, err := v.ID("member")
	if err != nil {
		return err
	}
	view, err := s.clubOf(v, club)
	if err != nil {
		return err
	}
	name, known := view.Names[member]
	if !known {
		return trial.Missing("member")
	}
	return v.Page("remove", removeView{view.MyClub, member, name, member == v.Actor.AccountID})
}

func (s *Site) removeMember(v *Visit) error {
	club, err := v.ID("club")
	if err != nil {
		return err
	}
	member, err := v.ID("member")
	if err != nil {
		return err
	}
	if err := s.service.RemoveMember(v.Ctx(), v.Actor, club, member); err != nil {
		return err
	}
	if member == v.Actor.AccountID {
		return v.See("/clubs", "left_club")
	}
	return v.See(clubPath(club), "member_removed")
}
