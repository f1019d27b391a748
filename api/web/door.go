package web

import (
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// doorRoutes are the ways in and out.
func (s *Site) doorRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/sign-in", Handle: s.signInPage},
		{Method: http.MethodPost, Path: "/sign-in", Handle: s.signIn},
		{Method: http.MethodPost, Path: "/sign-out", Handle: s.signOut},
	}
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
	if err := s.o.Attempt(v.Request().Context(), "email "+trial.Email(f.Get("email"))); err != nil {
		return err
	}
	in, err := s.service.SignIn(v.Request().Context(), f.Get("email"), f.Get("password"), conduct.Wanted{})
	if err != nil {
		return v.Again("sign-in", f, f, err)
	}
	return v.enter(in, inside(f.Get("next")), "")
}

// enter gives the browser the new session's cookie and goes on to the page at path.
func (v *Visit) enter(in conduct.SignedIn, path, done string) error {
	if in.Session != nil {
		v.Response().Header().Set("Set-Cookie", v.site.o.Cookie(in.Secret))
	}
	return v.See(path, done)
}

func (s *Site) signOut(v *Visit) error {
	if v.Signed {
		if err := s.service.SignOut(v.Request().Context(), v.Actor, false); err != nil {
			return err
		}
		s.o.Forget()
	}
	v.Response().Header().Set("Set-Cookie", s.o.Cookie(""))
	return v.See("/sign-in", "signed_out")
}
