package web

import (
	"net/http"
	"net/url"
	"strings"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// doorRoutes are the ways in and out. A link's secret stands behind #, which browsers send to nobody: a script puts it into
// the form, and without one the link is pasted there.
func (s *Site) doorRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/sign-in", Handle: s.signInPage},
		{Method: http.MethodPost, Path: "/sign-in", Handle: s.signIn},
		{Method: http.MethodPost, Path: "/sign-out", Handle: s.signOut},
		{Method: http.MethodGet, Path: "/join", Handle: s.joinPage},
		{Method: http.MethodPost, Path: "/join", Handle: s.join},
		{Method: http.MethodGet, Path: "/reset", Handle: emptyForm("reset")},
		{Method: http.MethodPost, Path: "/reset", Handle: s.reset},
		{Method: http.MethodGet, Path: "/first-admin", Handle: emptyForm("first-admin")},
		{Method: http.MethodPost, Path: "/first-admin", Handle: s.firstAdmin},
	}
}

func emptyForm(page string) func(*Visit) error {
	return func(v *Visit) error { return v.Page(page, newForm(url.Values{})) }
}

func (s *Site) signInPage(v *Visit) error {
	next := v.QueryParam("next")
	if v.Signed {
		return v.See(inside(next), "")
	}
	return v.Page("sign-in", newForm(url.Values{"next": {next}}))
}

func (s *Site) signIn(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	if err := s.o.Attempt(v.Ctx(), "email "+trial.Email(f.Get("email"))); err != nil {
		return err
	}
	in, err := s.service.SignIn(v.Ctx(), f.Get("email"), f.Get("password"), conduct.Wanted{})
	if err != nil {
		return v.Again("sign-in", f, f, err)
	}
	return v.enter(in, inside(f.Get("next")), "")
}

// enter gives the browser the new session's cookie and goes on to the page at path.
func (v *Visit) enter(in conduct.SignedIn, path, done string) error {
	if in.Session != nil {
		v.setCookie(in.Secret)
	}
	return v.See(path, done)
}

func (v *Visit) setCookie(secret string) {
	v.Response().Header().Add("Set-Cookie", v.site.o.Cookie(secret))
}

func (s *Site) signOut(v *Visit) error {
	if v.Signed {
		if err := s.service.SignOut(v.Ctx(), v.Actor, v.FormValue("everywhere") == "yes"); err != nil {
			return err
		}
		s.o.Forget()
	}
	v.setCookie("")
	return v.See("/sign-in", "signed_out")
}

// joinView is the page on which an invitation is accepted: by whom, when he has signed in.
type joinView struct {
	*Form
	Name string
}

func (s *Site) joinPage(v *Visit) error {
	view, err := s.joining(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("join", view)
}

func (s *Site) joining(v *Visit, f *Form) (view joinView, err error) {
	view.Form = f
	if v.Signed {
		me, err := s.service.Me(v.Ctx(), v.Actor)
		view.Name = me.Account.Name
		return view, err
	}
	return view, nil
}

func (s *Site) join(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	if err := s.o.Attempt(v.Ctx(), ""); err != nil {
		return err
	}
	var actor *trial.Actor
	if v.Signed {
		actor = &v.Actor
	}
	joined, err := s.service.AcceptInvitation(v.Ctx(), actor, secretIn(f.Get("secret")), f.Get("name"), true)
	if err != nil {
		view, viewErr := s.joining(v, f)
		if viewErr != nil {
			return viewErr
		}
		return v.refused("join", f, view, err)
	}
	if actor == nil {
		return v.enter(joined.SignedIn, "/me/sign-in", "joined_new")
	}
	return v.See("/clubs/"+joined.Club.ID.String(), "joined")
}

// refused is Again for a form that names something by a secret, where that there is no such thing is the form's fault.
func (v *Visit) refused(page string, f *Form, data any, err error) error {
	if trial.KindOf(err) != trial.NotFound {
		return v.Again(page, f, data, err)
	}
	f.failAll(err)
	return v.page(http.StatusNotFound, page, data)
}

// secretIn takes the secret out of a link that was pasted whole.
func secretIn(pasted string) string {
	pasted = strings.TrimSpace(pasted)
	return pasted[strings.LastIndex(pasted, "#")+1:]
}

func (s *Site) reset(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	if err := s.o.Attempt(v.Ctx(), ""); err != nil {
		return err
	}
	in, err := s.service.UseReset(v.Ctx(), conduct.Reset{Secret: secretIn(f.Get("secret")), Email: f.optional("email"), Password: f.optional("password")})
	if err != nil {
		return v.refused("reset", f, f, err)
	}
	s.o.Forget()
	return v.enter(in, "/clubs", "password_set")
}

func (s *Site) firstAdmin(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	if err := s.o.Attempt(v.Ctx(), ""); err != nil {
		return err
	}
	in, err := s.service.BecomeFirstAdmin(v.Ctx(), conduct.NewAdmin{
		Secret: secretIn(f.Get("secret")), Name: f.Get("name"), Email: f.needed("email"), Password: f.needed("password"),
	})
	if err != nil {
		return v.refused("first-admin", f, f, err)
	}
	return v.enter(in, "/clubs", "admin")
}
